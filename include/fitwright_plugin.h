/*
 * fitwright_plugin.h: how a plug-in brings fitters and importers of its own to Fitwright. This header is the
 * manual for its authors. Generated from plugins/abi/src; not edited by hand.
 *
 * Plug-in    A folder with a manifest and a shared library. The library exports one function,
 *            fitw_plugin_entry, and links nothing of Fitwright: all that it needs of the host comes through
 *            tables of functions. A fitter takes points of a scan and returns a shape: parameters with names
 *            and units, their covariance, and the bounded standard pieces that it consists of.
 *
 * Units      Millimetre, radian, double, right-handed coordinates: those of the scan. Three numbers (a place,
 *            a direction) are x, y, z. Directions have length 1. Uncertainty is standard uncertainty, k = 1.
 *
 * Manifest   fitwright-plugin.toml beside the library; the host lists plug-ins by it without running any of
 *            their code:
 *                id = "acme.rails"                    # vendor.name: lower case letters, digits, -
 *                title = "Guide rails"
 *                version = "1.2.0"                    # the plug-in's own
 *                licence = "MIT"
 *                interface = { lowest = "1.0", highest = "1.2" }
 *                fitters = ["acme.rail", "acme.channel"]
 *                importers = [{ id = "acme.drawing", extensions = ["acm"] }]    # since 1.2
 *
 *                [library]                            # those of the systems it is built for
 *                linux = "librails.so"
 *                macos = "librails.dylib"
 *                windows = "rails.dll"
 *            The ids in it are those that the library hands over. Folder, manifest and library may be
 *            written to by their owner alone: the host refuses what group or others can change.
 *
 * Lifecycle  The host loads the library, calls fitw_plugin_entry, reads the table, and then calls `fit` of a
 *            fitter as often as it likes. There is no end: a library is never unloaded, and what the table
 *            points to stays as it is for as long as the program runs.
 *
 * Versions   The host names the lowest and highest version that it speaks (major << 16 | minor). The plug-in
 *            chooses the newest that it knows too and writes it into the table. Without one in common it
 *            writes its highest and returns FITW_PLUGIN_E_VERSION. Within a major number nothing is removed
 *            or changes its meaning; structs grow at their end, and a constant may be added.
 *
 * Structs    Those that begin with struct_size carry the size with which their maker was compiled. A field
 *            marked "Since" is there only if struct_size reaches beyond it:
 *                if (input->struct_size >= FITW_PLUGIN_UP_TO(fitw_plugin_input, resolution_mm)) …
 *            Fields without such a mark are there in every version of this major number. Into a struct that
 *            you fill, write sizeof of it as you compile it; into fitw_plugin_table, which the host sized,
 *            write nothing beyond the size found there. Fields called `reserved` are 0.
 *
 * Threads    The host calls from any thread, several fits at once: keep what a fit works on to itself.
 *            `call` serves the thread that `fit` runs on; `input` may be read by all. Both end when `fit`
 *            returns: whoever starts threads ends them before that.
 *
 * Memory     What a function is given it copies or reads before it returns. call->allocate gives memory that
 *            the host frees when the fit ends; malloc and free of your own are as good. Neither side frees
 *            what the other allocated. Points, normals and options are to be read only.
 *
 * Answers    In any order: parameters (they appear in results in the order reported), covariance, pieces,
 *            rejected points, notes; then return FITW_PLUGIN_OK. The host checks them and takes none of
 *            them if one is wrong: every number finite; directions of length 1; radii above 0 and below
 *            10 m; names of lower case letters, digits and `_`, none twice; the covariance square, of the
 *            right size, symmetric, no eigenvalue below 0; at least one piece, each near the points (within
 *            their box grown by its diagonal); rejected points that exist, each once. At most 192 rows of
 *            covariance, 4,096 pieces, 100,000 numbers in a table. Distances and rms are the host's own,
 *            from pieces and points.
 *            The same input gives the same answer: take random numbers from input->seed only.
 *
 * Importers  Since 1.2 a plug-in may read designed parts: `ability` of its table answers FITW_PLUGIN_IMPORT
 *            with a fitw_plugin_import, and the manifest names importers and their extensions. A part is closed
 *            triangle meshes in mm whose neighbours share points by number, with the exact surface of each face
 *            as far as it is a standard shape. The host checks it and takes none of it if one thing is wrong:
 *            every number finite and below 10 km; points and faces that exist; directions of length 1; radii
 *            above 0 and below 10 m (a larger one is FITW_PLUGIN_SHAPE_OTHER); faces turned as they say; holes
 *            within the part. At most 20,000,000 triangles and points, 1,000,000 faces, 100,000 holes.
 *            plugins/occt is a whole one.
 *
 * Errors     Return one of FITW_PLUGIN_E_… and say by call->reason what is wrong and what would help; the
 *            user reads that sentence. Nothing may be thrown across the boundary; do not call exit, do not
 *            print. After an error nothing that was reported is used.
 *
 * Where      A plug-in runs in a worker process of its own unless the user marked it as trusted. There a
 *            crash, a hang or too much memory ends the worker, becomes an error that names the plug-in, and
 *            the host goes on. A trusted one runs inside the host, and takes it along when it crashes.
 *            Answers are the same to the bit. `fitwright plugins check FOLDER` tries all rules.
 *
 * Example    A plug-in of one fitter, in C11; plugins/obround-c is a whole one.
 *
 *                #include <fitwright_plugin.h>
 *
 *                int best_sphere(const double *points, size_t count, double *centre, double *radius);
 *
 *                static int32_t fit(const void *data, const fitw_plugin_input *in, const fitw_plugin_call *call)
 *                {
 *                    const fitw_plugin_text name = FITW_PLUGIN_TEXT("radius");
 *                    fitw_plugin_piece piece = {.struct_size = sizeof piece, .shape = FITW_PLUGIN_SHAPE_SPHERE,
 *                                               .extent = FITW_PLUGIN_EXTENT_WHOLE};
 *                    (void)data;
 *                    if (call->cancelled(call))
 *                        return FITW_PLUGIN_E_CANCELLED;
 *                    if (best_sphere(in->points_mm, in->point_count, piece.point_mm, &piece.size_1) != 0)
 *                        return FITW_PLUGIN_E_UNDETERMINED;
 *                    call->number(call, name, FITW_PLUGIN_UNIT_MM, piece.size_1);
 *                    return call->piece(call, &piece);
 *                }
 *
 *                static const fitw_plugin_fitter ball = {
 *                    .struct_size = sizeof ball, .shape = FITW_PLUGIN_SHAPE_SPHERE,
 *                    .id = FITW_PLUGIN_TEXT("acme.ball"), .title = FITW_PLUGIN_TEXT("Ball"),
 *                    .minimum_points = 4, .fit = fit};
 *                static const fitw_plugin_fitter *const fitters[] = {&ball};
 *
 *                int32_t fitw_plugin_entry(uint32_t lowest, uint32_t highest, const fitw_plugin_host *host,
 *                                          fitw_plugin_table *table)
 *                {
 *                    (void)host;
 *                    if (lowest > FITW_PLUGIN_VERSION || highest < FITW_PLUGIN_OLDEST) {
 *                        table->version = FITW_PLUGIN_VERSION;
 *                        return FITW_PLUGIN_E_VERSION;
 *                    }
 *                    table->version = highest < FITW_PLUGIN_VERSION ? highest : FITW_PLUGIN_VERSION;
 *                    table->id = (fitw_plugin_text)FITW_PLUGIN_TEXT("acme.balls");
 *                    table->fitters = fitters;
 *                    table->fitter_count = 1;
 *                    return FITW_PLUGIN_OK;
 *                }
 *
 *            cc -std=c11 -O2 -shared -fPIC -fvisibility=hidden ball.c -o libball.so
 */

#ifndef FITWRIGHT_PLUGIN_H
#define FITWRIGHT_PLUGIN_H

#include <stddef.h>
#include <stdint.h>
/* Name of the one function that a plug-in exports. */
#define FITW_PLUGIN_ENTRY "fitw_plugin_entry"

/* Id of the host's ability to fit standard shapes, fitw_plugin_fits. */
#define FITW_PLUGIN_FITS "fitwright.fits/1"

/* Id of the plug-in's ability to read parts, fitw_plugin_import. */
#define FITW_PLUGIN_IMPORT "fitwright.import/1"

/* The version of this header, and the oldest of its major number. */
#define FITW_PLUGIN_VERSION ((uint32_t)FITW_PLUGIN_MAJOR << 16 | (uint32_t)FITW_PLUGIN_MINOR)
#define FITW_PLUGIN_OLDEST ((uint32_t)FITW_PLUGIN_MAJOR << 16)

/* A fitw_plugin_text of a literal, as an initialiser. */
#define FITW_PLUGIN_TEXT(literal) {(const uint8_t *)(literal), sizeof(literal) - 1}

/* Bytes of a struct up to and with a field: what struct_size is at least if the field is there. */
#define FITW_PLUGIN_UP_TO(type, field) (offsetof(type, field) + sizeof(((type *)0)->field))

/* In front of fitw_plugin_entry: exported though all else is hidden. */
#if defined(_WIN32)
#define FITW_PLUGIN_EXPORT __declspec(dllexport)
#elif defined(__GNUC__)
#define FITW_PLUGIN_EXPORT __attribute__((visibility("default")))
#else
#define FITW_PLUGIN_EXPORT
#endif


/**
 * Shape: plane through a point with a normal.
 */
#define FITW_PLUGIN_SHAPE_PLANE 10

/**
 * Shape: line through a point along a direction.
 */
#define FITW_PLUGIN_SHAPE_LINE 20

/**
 * Shape: circle of a centre, normal and radius.
 */
#define FITW_PLUGIN_SHAPE_CIRCLE 30

/**
 * Shape: sphere of a centre and radius.
 */
#define FITW_PLUGIN_SHAPE_SPHERE 40

/**
 * Shape: cylinder about an axis.
 */
#define FITW_PLUGIN_SHAPE_CYLINDER 50

/**
 * Shape: cone about an axis.
 */
#define FITW_PLUGIN_SHAPE_CONE 60

/**
 * Shape: ring torus about an axis.
 */
#define FITW_PLUGIN_SHAPE_TORUS 70

/**
 * Shape: several pieces.
 */
#define FITW_PLUGIN_SHAPE_COMPOSITE 100

/**
 * Extent: closed loops of points on a plane.
 */
#define FITW_PLUGIN_EXTENT_OUTLINE 10

/**
 * Extent: a line from `u_from` to `u_to`, mm along the direction from the point.
 */
#define FITW_PLUGIN_EXTENT_SEGMENT 20

/**
 * Extent: a circle from `u_from` to `u_to`, rad about the normal, counted from `zero`.
 */
#define FITW_PLUGIN_EXTENT_ARC 30

/**
 * Extent: a patch of cylinder, cone, sphere or torus between parameters u and v.
 */
#define FITW_PLUGIN_EXTENT_PATCH 40

/**
 * Extent: all of a circle, sphere or torus.
 */
#define FITW_PLUGIN_EXTENT_WHOLE 50

/**
 * Shape of a face only: none of the standard ones.
 */
#define FITW_PLUGIN_SHAPE_OTHER 110

/**
 * Unit of an option, number or column: none.
 */
#define FITW_PLUGIN_UNIT_NONE 10

/**
 * Unit: millimetre.
 */
#define FITW_PLUGIN_UNIT_MM 20

/**
 * Unit: radian.
 */
#define FITW_PLUGIN_UNIT_RAD 30

/**
 * Unit of a column only: a coordinate of a place, mm. Three such columns side by side are x, y, z, and move
 * with the shape into other coordinates; other columns do not.
 */
#define FITW_PLUGIN_UNIT_PLACE 40

/**
 * Sort of an option: any number within the limits.
 */
#define FITW_PLUGIN_OPTION_NUMBER 10

/**
 * Sort of an option: a whole number within the limits.
 */
#define FITW_PLUGIN_OPTION_WHOLE 20

/**
 * Sort of an option: 1 for yes, 0 for no.
 */
#define FITW_PLUGIN_OPTION_SWITCH 30

/**
 * Log level: of interest to the plug-in's author.
 */
#define FITW_PLUGIN_LOG_DEBUG 10

/**
 * Log level: of interest to the user.
 */
#define FITW_PLUGIN_LOG_INFO 20

/**
 * Log level: the user should know.
 */
#define FITW_PLUGIN_LOG_WARNING 30

/**
 * Major number of the interface: another one is another interface.
 */
#define FITW_PLUGIN_MAJOR 1

/**
 * Minor number: grows when something is added at the end of a struct.
 */
#define FITW_PLUGIN_MINOR 2

/**
 * Done.
 */
#define FITW_PLUGIN_OK 0

/**
 * An option, or two together, cannot be served.
 */
#define FITW_PLUGIN_E_OPTION 100

/**
 * The host asked to stop.
 */
#define FITW_PLUGIN_E_CANCELLED 200

/**
 * Host and plug-in have no version in common. From fitw_plugin_entry only.
 */
#define FITW_PLUGIN_E_VERSION 320

/**
 * The host lacks an ability that the plug-in cannot do without.
 */
#define FITW_PLUGIN_E_ABILITY 330

/**
 * Memory or another limit is used up.
 */
#define FITW_PLUGIN_E_LIMIT 340

/**
 * Fewer points than needed.
 */
#define FITW_PLUGIN_E_TOO_FEW_POINTS 400

/**
 * The points do not determine the shape: say what would.
 */
#define FITW_PLUGIN_E_UNDETERMINED 410

/**
 * The iteration ended without an answer.
 */
#define FITW_PLUGIN_E_NOT_CONVERGED 420

/**
 * The points are not finite; of an importer: the file cannot be read.
 */
#define FITW_PLUGIN_E_INPUT 430

/**
 * A defect of the plug-in.
 */
#define FITW_PLUGIN_E_INTERNAL 900

/**
 * UTF-8 text of `length` bytes, no NUL needed. NULL and 0: none.
 */
typedef struct fitw_plugin_text {
    /**
     * First byte.
     */
    const uint8_t *data;
    /**
     * Bytes.
     */
    size_t length;
} fitw_plugin_text;

/**
 * What the host offers for as long as the plug-in is loaded. Functions may be called from any thread.
 */
typedef struct fitw_plugin_host {
    /**
     * sizeof(fitw_plugin_host) as the host was compiled: read nothing beyond it.
     */
    uint32_t struct_size;
    /**
     * Newest version that the host speaks, major << 16 | minor.
     */
    uint32_t version;
    /**
     * The host's own, to be handed back.
     */
    void *host;
    /**
     * Name and version of the host, such as "fitwright 0.1.0".
     */
    struct fitw_plugin_text name;
    /**
     * Writes a line; `level` is FITW_PLUGIN_LOG_….
     */
    void (*log)(void *host, int32_t level, struct fitw_plugin_text text);
    /**
     * A further ability of the host by id, such as FITW_PLUGIN_FITS; NULL: the host has it not. What it
     * points to lives as long as the host table and begins with its struct_size.
     */
    const void *(*ability)(void *host, struct fitw_plugin_text id);
} fitw_plugin_host;

/**
 * An option of a fitter.
 */
typedef struct fitw_plugin_option {
    /**
     * sizeof(fitw_plugin_option).
     */
    uint32_t struct_size;
    /**
     * FITW_PLUGIN_OPTION_….
     */
    int32_t sort;
    /**
     * FITW_PLUGIN_UNIT_…: users write it in the units of their job.
     */
    int32_t unit;
    /**
     * 0.
     */
    int32_t reserved;
    /**
     * Name in job files: lower case letters, digits, `_`.
     */
    struct fitw_plugin_text name;
    /**
     * One line for people.
     */
    struct fitw_plugin_text description;
    /**
     * Value where the user gives none, within the limits.
     */
    double standard;
    /**
     * Smallest value allowed.
     */
    double least;
    /**
     * Largest value allowed.
     */
    double most;
} fitw_plugin_option;

/**
 * Points to fit to; the host's, to be read during the call only.
 */
typedef struct fitw_plugin_input {
    /**
     * sizeof(fitw_plugin_input) as the host was compiled: read nothing beyond it.
     */
    uint32_t struct_size;
    /**
     * 1 if `pick_mm` is given, else 0.
     */
    int32_t has_pick;
    /**
     * Points.
     */
    size_t point_count;
    /**
     * x, y, z of each point side by side, mm, finite.
     */
    const double *points_mm;
    /**
     * Unit normal of each point side by side, pointing out of the material as far as the scanner knows;
     * zero where unknown. NULL: none is known.
     */
    const double *normals;
    /**
     * Where the user pointed, mm.
     */
    double pick_mm[3];
    /**
     * Standard deviation of the scan's noise, mm; 0: unknown.
     */
    double noise_mm;
    /**
     * Values of the fitter's options in its own order: always as many as it declares, checked against its
     * limits, in mm and rad.
     */
    const double *options;
    /**
     * Their number.
     */
    size_t option_count;
    /**
     * Seed of every random choice: the same seed, the same answer.
     */
    uint64_t seed;
    /**
     * Since 1.1: usual distance from point to point, mm; 0: unknown.
     */
    double resolution_mm;
} fitw_plugin_input;

/**
 * A column of a table.
 */
typedef struct fitw_plugin_column {
    /**
     * Name: lower case letters, digits, `_`.
     */
    struct fitw_plugin_text name;
    /**
     * FITW_PLUGIN_UNIT_….
     */
    int32_t unit;
    /**
     * 0.
     */
    int32_t reserved;
} fitw_plugin_column;

/**
 * A bounded piece: a standard shape and how much of it there is.
 */
typedef struct fitw_plugin_piece {
    /**
     * sizeof(fitw_plugin_piece).
     */
    uint32_t struct_size;
    /**
     * FITW_PLUGIN_SHAPE_…, no composite.
     */
    int32_t shape;
    /**
     * FITW_PLUGIN_EXTENT_….
     */
    int32_t extent;
    /**
     * 0.
     */
    int32_t reserved;
    /**
     * On the plane, line or axis; centre of circle, sphere, torus; mm.
     */
    double point_mm[3];
    /**
     * Unit normal of plane and circle, direction of a line, axis of cylinder, cone (towards growing
     * radius), torus; unused for a sphere.
     */
    double direction[3];
    /**
     * Circle, sphere, cylinder: radius, mm. Cone: radius at `point_mm`, mm. Torus: major radius, mm. Else 0.
     */
    double size_1;
    /**
     * Torus: minor radius, mm. Cone: half-angle, rad. Else 0.
     */
    double size_2;
    /**
     * Arc, patch: unit direction of u = 0, perpendicular to the axis (sphere: to `pole`).
     */
    double zero[3];
    /**
     * Patch of a sphere: the axis that u turns about. Other shapes: their own axis, unused.
     */
    double pole[3];
    /**
     * Segment: mm. Arc, patch: angle about the axis, rad; u_from < u_to <= u_from + 2 pi.
     */
    double u_from;
    /**
     * As u_from.
     */
    double u_to;
    /**
     * Patch. Cylinder, cone: mm along the axis from the point. Sphere: latitude, rad. Torus: angle round
     * the tube, rad, 0 outermost, pi/2 towards the axis direction.
     */
    double v_from;
    /**
     * As v_from.
     */
    double v_to;
    /**
     * Outline: x, y, z of the points of all loops, one loop after the other, mm, on the plane. Loop 0 runs
     * counter-clockwise about the normal, the others are holes and run clockwise; no first point repeated.
     */
    const double *outline_mm;
    /**
     * Outline: points of each loop.
     */
    const size_t *loop_sizes;
    /**
     * Outline: loops.
     */
    size_t loop_count;
} fitw_plugin_piece;

/**
 * What a fitter can do during one call. `call` goes first into every function. The functions copy what they
 * are given. They return FITW_PLUGIN_OK, or FITW_PLUGIN_E_LIMIT when the host takes no more.
 *
 * Parameters appear in results under their names (lower case letters, digits, `_`; each once) in the order in
 * which they are reported. The host
 * computes distances, rms and the covariance of the shape's place itself, from the pieces and the points.
 */
typedef struct fitw_plugin_call {
    /**
     * sizeof(fitw_plugin_call) as the host was compiled: use nothing beyond it.
     */
    uint32_t struct_size;
    /**
     * 0.
     */
    uint32_t reserved;
    /**
     * The host's own.
     */
    void *host;
    /**
     * Tells how much is done, 0 to 1. Not 0: the host wants the work to stop.
     */
    int32_t (*progress)(const struct fitw_plugin_call *call, double fraction);
    /**
     * Not 0: the host wants the work to stop.
     */
    int32_t (*cancelled)(const struct fitw_plugin_call *call);
    /**
     * Memory, aligned to 16 bytes, that the host frees when the call ends. NULL: over the host's limit.
     */
    void *(*allocate)(const struct fitw_plugin_call *call, size_t bytes);
    /**
     * Says why the call fails, and what would help: "45 degrees of arc leave the width open; scan both ends".
     */
    void (*reason)(const struct fitw_plugin_call *call, struct fitw_plugin_text text);
    /**
     * A parameter: a number. `unit` is FITW_PLUGIN_UNIT_….
     */
    int32_t (*number)(const struct fitw_plugin_call *call,
                      struct fitw_plugin_text name,
                      int32_t unit,
                      double value);
    /**
     * A parameter: a place, x, y, z, mm.
     */
    int32_t (*point)(const struct fitw_plugin_call *call, struct fitw_plugin_text name, const double *xyz_mm);
    /**
     * A parameter: a unit direction, x, y, z.
     */
    int32_t (*direction)(const struct fitw_plugin_call *call, struct fitw_plugin_text name, const double *xyz);
    /**
     * A parameter: a table of numbers, `rows` times `column_count` values row by row.
     */
    int32_t (*table)(const struct fitw_plugin_call *call,
                     struct fitw_plugin_text name,
                     const struct fitw_plugin_column *columns,
                     size_t column_count,
                     const double *values,
                     size_t rows);
    /**
     * Covariance of the parameters (standard uncertainty, k = 1): a symmetric matrix of `size` rows, row by
     * row, over all of them in the order reported: three rows for a place, three for a direction, one for
     * a number, none for a table. Required of composites, once; for a single standard shape the host's own
     * serves.
     */
    int32_t (*covariance)(const struct fitw_plugin_call *call, const double *values, size_t size);
    /**
     * A piece of the shape; at least one.
     */
    int32_t (*piece)(const struct fitw_plugin_call *call, const struct fitw_plugin_piece *piece);
    /**
     * Points that were left out as not belonging, by position in the input.
     */
    int32_t (*rejected)(const struct fitw_plugin_call *call, const uint32_t *points, size_t count);
    /**
     * A sentence that the user should read beside the result.
     */
    int32_t (*note)(const struct fitw_plugin_call *call, struct fitw_plugin_text text);
} fitw_plugin_call;

/**
 * A fitter.
 */
typedef struct fitw_plugin_fitter {
    /**
     * sizeof(fitw_plugin_fitter).
     */
    uint32_t struct_size;
    /**
     * FITW_PLUGIN_SHAPE_… of what it returns; FITW_PLUGIN_SHAPE_COMPOSITE for a shape of several pieces. Of a
     * standard shape the one piece counts: parameters and covariance are the host's own, and those
     * reported are left aside.
     */
    int32_t shape;
    /**
     * Unique id, `vendor.name`, as it stands in the manifest: the plug-in's own vendor.
     */
    struct fitw_plugin_text id;
    /**
     * One line for people.
     */
    struct fitw_plugin_text title;
    /**
     * What a composite is called in results, one or two words: "obround". Empty for other shapes.
     */
    struct fitw_plugin_text kind;
    /**
     * Fewest points it can work with, at least 1: the host refuses fewer.
     */
    size_t minimum_points;
    /**
     * Its options, `option_count` pointers; may be NULL if there are none.
     */
    const struct fitw_plugin_option *const *options;
    /**
     * Their number.
     */
    size_t option_count;
    /**
     * The plug-in's own, handed back to `fit`.
     */
    const void *data;
    /**
     * Fits. Several calls may run at once, each with its own `call`. Ask `call->progress` or
     * `call->cancelled` at least every 50 ms and return FITW_PLUGIN_E_CANCELLED when it says so. Nothing
     * may be thrown out of it. Returns FITW_PLUGIN_OK or an error; say the reason by `call->reason`.
     */
    int32_t (*fit)(const void *data,
                   const struct fitw_plugin_input *input,
                   const struct fitw_plugin_call *call);
} fitw_plugin_fitter;

/**
 * What a plug-in hands over.
 */
typedef struct fitw_plugin_table {
    /**
     * Set by the host to sizeof(fitw_plugin_table) as it was compiled; the plug-in writes no more than that
     * and leaves what it wrote here.
     */
    uint32_t struct_size;
    /**
     * Version the plug-in chose, major << 16 | minor.
     */
    uint32_t version;
    /**
     * Id of the plug-in, `vendor.name`, as it stands in the manifest.
     */
    struct fitw_plugin_text id;
    /**
     * Its fitters, `fitter_count` pointers. All of it stays as it is for as long as the program runs.
     */
    const struct fitw_plugin_fitter *const *fitters;
    /**
     * Their number, at least 1; since 1.2 it may be 0 if the plug-in has the ability FITW_PLUGIN_IMPORT.
     */
    size_t fitter_count;
    /**
     * A further ability of the plug-in by id, such as FITW_PLUGIN_IMPORT; NULL: it has it not. May itself be
     * NULL. What it points to stays as it is for as long as the program runs.
     */
    const void *(*ability)(struct fitw_plugin_text id);
} fitw_plugin_table;

/**
 * The one function of a plug-in, exported under the name FITW_PLUGIN_ENTRY.
 *
 * The host names the lowest and the highest version that it speaks; the plug-in chooses the newest that it
 * knows too, fills the table and returns FITW_PLUGIN_OK. Without a version in common it returns
 * FITW_PLUGIN_E_VERSION and writes into `table->version` the highest it knows, nothing else. `host` stays
 * valid. The function may be called again, also from another thread, and answers the same.
 */
typedef int32_t (*fitw_plugin_entry_fn)(uint32_t lowest,
                                        uint32_t highest,
                                        const struct fitw_plugin_host *host,
                                        struct fitw_plugin_table *table);

/**
 * A standard shape fitted by the host.
 */
typedef struct fitw_plugin_fitted {
    /**
     * sizeof(fitw_plugin_fitted), set by the plug-in; the host writes no more.
     */
    uint32_t struct_size;
    /**
     * FITW_PLUGIN_SHAPE_….
     */
    int32_t shape;
    /**
     * As in fitw_plugin_piece, mm.
     */
    double point_mm[3];
    /**
     * As in fitw_plugin_piece.
     */
    double direction[3];
    /**
     * As in fitw_plugin_piece, mm.
     */
    double size_1;
    /**
     * As in fitw_plugin_piece, mm or rad.
     */
    double size_2;
    /**
     * Place that `covariance` is about, mm.
     */
    double at_mm[3];
    /**
     * Covariance, 8 by 8, row by row: shift x, y, z (mm), rotation vector x, y, z (rad), size_1, size_2.
     */
    double covariance[64];
    /**
     * Root mean square of the distances of the points used, mm.
     */
    double rms_mm;
    /**
     * Standard deviation of one point, mm.
     */
    double sigma_mm;
    /**
     * Points used.
     */
    size_t used_count;
} fitw_plugin_fitted;

/**
 * The host fits standard shapes: orthogonal least squares, outliers found and left out.
 */
typedef struct fitw_plugin_fits {
    /**
     * sizeof(fitw_plugin_fits) as the host was compiled.
     */
    uint32_t struct_size;
    /**
     * 0.
     */
    uint32_t reserved;
    /**
     * Fits a shape, FITW_PLUGIN_SHAPE_PLANE to …_TORUS, to `count` points (x, y, z side by side, mm) with
     * their unit normals (zero where unknown; NULL: none). `outliers` 1: gross outliers are found and left
     * out; 0: all points count. `used`, if not NULL, takes `count` bytes: 1 for a point that the fit uses,
     * 0 for one left out. Same errors as a fitter's; a reason is kept as by `call->reason`.
     */
    int32_t (*fit)(const struct fitw_plugin_call *call,
                   int32_t shape,
                   const double *points_mm,
                   const double *normals,
                   size_t count,
                   int32_t outliers,
                   struct fitw_plugin_fitted *out,
                   uint8_t *used);
} fitw_plugin_fits;

/**
 * What to read; the host's, to be read during the call only.
 */
typedef struct fitw_plugin_import_input {
    /**
     * sizeof(fitw_plugin_import_input) as the host was compiled: read nothing beyond it.
     */
    uint32_t struct_size;
    /**
     * 0.
     */
    uint32_t reserved;
    /**
     * The file, absolute.
     */
    struct fitw_plugin_text path;
    /**
     * Largest distance that the mesh may have from the exact surfaces, mm.
     */
    double chord_error_mm;
} fitw_plugin_import_input;

/**
 * A face of the part.
 */
typedef struct fitw_plugin_face {
    /**
     * sizeof(fitw_plugin_face).
     */
    uint32_t struct_size;
    /**
     * FITW_PLUGIN_SHAPE_PLANE, …_CYLINDER, …_CONE, …_SPHERE, …_TORUS or …_OTHER, whose numbers are unused.
     */
    int32_t shape;
    /**
     * 1 if the outside of the material is against the shape's own normal, which points along the direction of
     * a plane and away from axis, centre or tube of others: a bore. Else 0.
     */
    int32_t reversed;
    /**
     * 0.
     */
    int32_t reserved;
    /**
     * As in fitw_plugin_piece, mm.
     */
    double point_mm[3];
    /**
     * As in fitw_plugin_piece.
     */
    double direction[3];
    /**
     * As in fitw_plugin_piece, mm.
     */
    double size_1;
    /**
     * As in fitw_plugin_piece, mm or rad.
     */
    double size_2;
} fitw_plugin_face;

/**
 * A round hole of the part.
 */
typedef struct fitw_plugin_hole {
    /**
     * sizeof(fitw_plugin_hole).
     */
    uint32_t struct_size;
    /**
     * 0.
     */
    uint32_t reserved;
    /**
     * Middle of the wall's axis, mm.
     */
    double point_mm[3];
    /**
     * Direction of the axis.
     */
    double axis[3];
    /**
     * Radius, mm.
     */
    double radius_mm;
    /**
     * Length of the wall along the axis, mm.
     */
    double depth_mm;
} fitw_plugin_hole;

/**
 * What an importer builds the part with. `part` goes first into every function. The functions copy what they
 * are given, in the order in which it comes. They return FITW_PLUGIN_OK, FITW_PLUGIN_E_LIMIT when the host
 * takes no more, or FITW_PLUGIN_E_INTERNAL for what cannot be; the importer then returns that.
 *
 * Solids are closed: each edge of a triangle belongs to two triangles, which run along it in opposite
 * directions and name the same two points.
 */
typedef struct fitw_plugin_part {
    /**
     * sizeof(fitw_plugin_part) as the host was compiled: use nothing beyond it.
     */
    uint32_t struct_size;
    /**
     * 0.
     */
    uint32_t reserved;
    /**
     * The host's own.
     */
    void *host;
    /**
     * Schema or format of the file, such as "AP214"; once, if at all.
     */
    int32_t (*schema)(const struct fitw_plugin_part *part, struct fitw_plugin_text name);
    /**
     * Begins a solid: the triangles that follow are its own. At least one.
     */
    int32_t (*solid)(const struct fitw_plugin_part *part);
    /**
     * A face. Faces have numbers from 0 over the whole part.
     */
    int32_t (*face)(const struct fitw_plugin_part *part, const struct fitw_plugin_face *face);
    /**
     * Points, x, y, z of each, mm. They have numbers from 0 over the whole part.
     */
    int32_t (*points)(const struct fitw_plugin_part *part, const double *xyz_mm, size_t count);
    /**
     * Triangles: numbers of three points each, counter-clockwise seen from outside of the material, and the
     * number of the face of each, points and faces having been added before. `faces` NULL: faces are not
     * known; then those of no triangle are.
     */
    int32_t (*triangles)(const struct fitw_plugin_part *part,
                         const uint32_t *corners,
                         const uint32_t *faces,
                         size_t count);
    /**
     * A round hole. Not needed where faces are known: the host finds holes in inward cylinders itself, unless
     * the importer names one.
     */
    int32_t (*hole)(const struct fitw_plugin_part *part, const struct fitw_plugin_hole *hole);
    /**
     * Largest distance of the mesh from the exact surfaces, mm, where it is not what was asked for.
     */
    int32_t (*chord_error)(const struct fitw_plugin_part *part, double mm);
} fitw_plugin_part;

/**
 * An importer: it reads a file that holds a designed part.
 */
typedef struct fitw_plugin_importer {
    /**
     * sizeof(fitw_plugin_importer).
     */
    uint32_t struct_size;
    /**
     * 0.
     */
    uint32_t reserved;
    /**
     * Unique id, `vendor.name`, as it stands in the manifest: the plug-in's own vendor.
     */
    struct fitw_plugin_text id;
    /**
     * One line for people.
     */
    struct fitw_plugin_text title;
    /**
     * Extensions of the files that it reads, lower case, without the point; those of the manifest.
     */
    const struct fitw_plugin_text *extensions;
    /**
     * Their number, at least 1.
     */
    size_t extension_count;
    /**
     * The plug-in's own, handed back to `import`.
     */
    const void *data;
    /**
     * Reads a file and hands its part over by the functions of `part`. Of `call` it may use progress,
     * cancelled, allocate, reason, note and the host's abilities; the rules of `fit` hold: several calls may
     * run at once, `call->progress` or `call->cancelled` is asked at least every 50 ms as far as a kernel
     * allows, nothing is thrown. FITW_PLUGIN_E_INPUT: the file cannot be read; say what is in it and what
     * to do instead by `call->reason`, as "reason; remedy".
     */
    int32_t (*import)(const void *data,
                      const struct fitw_plugin_import_input *input,
                      const struct fitw_plugin_call *call,
                      const struct fitw_plugin_part *part);
} fitw_plugin_importer;

/**
 * The importers of a plug-in: what its `ability` answers to FITW_PLUGIN_IMPORT.
 */
typedef struct fitw_plugin_import {
    /**
     * sizeof(fitw_plugin_import).
     */
    uint32_t struct_size;
    /**
     * 0.
     */
    uint32_t reserved;
    /**
     * Its importers, `importer_count` pointers. All of it stays as it is for as long as the program runs.
     */
    const struct fitw_plugin_importer *const *importers;
    /**
     * Their number, at least 1.
     */
    size_t importer_count;
} fitw_plugin_import;

#ifdef __cplusplus
extern "C" {
#endif

/**
 * What a plug-in defines, see fitw_plugin_entry_fn.
 */
FITW_PLUGIN_EXPORT int32_t fitw_plugin_entry(uint32_t lowest, uint32_t highest,
                                             const fitw_plugin_host *host, fitw_plugin_table *table);

#ifdef __cplusplus
}
#endif

#endif /* FITWRIGHT_PLUGIN_H */
