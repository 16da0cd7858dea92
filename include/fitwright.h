/*
 * fitwright.h: the C interface of Fitwright, a geometry engine for designing a part onto a machine that is
 * known only from a scan. This header is its manual. Generated from ffi/src; not edited by hand.
 *
 * Units      Millimetre, radian, double, right-handed coordinates; names end in _mm and _rad. Other units
 *            are told with FITW_UNIT_… where data come in. A frame is in the name, in product order:
 *            machine_from_scan × scan point = machine point.
 *
 * Calls      Every function returns a fitw_status: FITW_OK (0), or an error; then no result was written
 *            (except a `need`). The first argument is the context, which keeps the last error: ask
 *            fitw_context_error_message. Nothing is thrown; a defect inside comes back as FITW_E_INTERNAL.
 *
 * Handles    fitw_scan*, fitw_fit* and the others are opaque. What a call makes (its `fitw_T **out`) is the
 *            caller's, to be given to fitw_T_release once; nothing else is. Order does not matter: a fit
 *            keeps its region, a region its scan. A released or foreign handle is FITW_E_HANDLE, never a
 *            crash. Nothing is handed out for free().
 *
 * Structs    Those that begin with struct_size may grow. Set all to zero and struct_size to its sizeof, for
 *            arguments and for results:
 *                fitw_fit_options o = FITW_ZERO;  o.struct_size = sizeof o;
 *            Zero is the default of every option. Fields called `reserved` are 0.
 *
 * Views      A function that ends in _view, and every text, points into a handle's own memory: valid until
 *            that handle is released, not to be written to. Copy it to keep it.
 *
 * Arrays     Arguments are read during the call and stay the caller's, but for FITW_MESH_BORROW. A stride
 *            counts bytes from one element to the next, 0: side by side. Three numbers (a place, a
 *            direction) are x, y, z.
 *
 * Numbers    Kinds and states are int32_t with named values. A later library may return values that are not
 *            named here; arguments are checked.
 *
 * Threads    [any-thread]: any thread at any time, also several at once. Handles are immutable. Only
 *            releasing a handle while a view of it is in use is the caller's fault. Results are the same to
 *            the bit for any number of threads.
 *
 * Versions   Within FITW_ABI_MAJOR nothing is removed or changes size or meaning. fitw_abi_version tells
 *            what is loaded.
 *
 * May be NULL: what the text says may be; nothing else. Errors that every function may return: FITW_E_HANDLE
 * for a bad handle, FITW_E_ARGUMENT for NULL, misaligned or wrongly sized arguments, FITW_E_UNSUPPORTED for
 * a struct with values that only a later library knows, FITW_E_INTERNAL; they are not repeated below.
 */

#ifndef FITWRIGHT_H
#define FITWRIGHT_H

#include <stddef.h>
#include <stdint.h>
/* Length of a fitw_str argument whose text ends with a NUL. */
#define FITW_NUL SIZE_MAX

/* All zero, for structs. */
#ifdef __cplusplus
#define FITW_ZERO {}
#else
#define FITW_ZERO {0}
#endif

/* Whether a library whose fitw_abi_version() is `v` serves a program compiled with this header. */
#define FITW_ABI_FITS(v) ((v) >> 16 == FITW_ABI_MAJOR && (v) >= ((uint32_t)FITW_ABI_MAJOR << 16 | FITW_ABI_MINOR))


/**
 * Major number of the interface: raised when something is removed or changed. The library's file
 * carries it (`libfitwright.so.1`).
 */
#define FITW_ABI_MAJOR 1

/**
 * Minor number of the interface: raised when something is added.
 */
#define FITW_ABI_MINOR 7

/**
 * Success; the only status under which results are written.
 */
#define FITW_OK 0

/**
 * An argument is NULL, misaligned, of a wrong size, or outside what the call allows.
 */
#define FITW_E_ARGUMENT 100

/**
 * A name is used twice.
 */
#define FITW_E_DUPLICATE_NAME 110

/**
 * A name refers to nothing.
 */
#define FITW_E_UNKNOWN_NAME 120

/**
 * The job's text is wrong.
 */
#define FITW_E_JOB 130

/**
 * The caller's buffer is too small; the size it needs was written.
 */
#define FITW_E_BUFFER 140

/**
 * A handle that was released, never existed, or is of another kind.
 */
#define FITW_E_HANDLE 150

/**
 * The work was cancelled, by fitw_context_cancel or by the progress callback.
 */
#define FITW_E_CANCELLED 200

/**
 * The operating system could not read or write a file.
 */
#define FITW_E_IO 300

/**
 * A file's content breaks its format.
 */
#define FITW_E_FORMAT 310

/**
 * A file is of no known format.
 */
#define FITW_E_UNKNOWN_FORMAT 320

/**
 * A file, or an options struct of a later version, uses something that this library cannot do.
 */
#define FITW_E_UNSUPPORTED 330

/**
 * A limit on size or memory was passed.
 */
#define FITW_E_LIMIT 340

/**
 * Fewer points than the shape needs.
 */
#define FITW_E_TOO_FEW_POINTS 400

/**
 * The points do not determine the shape.
 */
#define FITW_E_UNDETERMINED 410

/**
 * An iteration ended without an answer.
 */
#define FITW_E_NOT_CONVERGED 420

/**
 * A pick is too far from the surface.
 */
#define FITW_E_PICK_OFF_SURFACE 430

/**
 * A region holds no point.
 */
#define FITW_E_EMPTY_REGION 440

/**
 * A construction is impossible for the geometry given.
 */
#define FITW_E_CONSTRUCTION 450

/**
 * A datum system leaves a freedom open or takes one twice.
 */
#define FITW_E_DATUM 460

/**
 * Scans could not be joined.
 */
#define FITW_E_JOIN 470

/**
 * The part is not a closed solid.
 */
#define FITW_E_OPEN_PART 480

/**
 * A plug-in was refused; the message says why, and what would help.
 */
#define FITW_E_PLUGIN_REFUSED 500

/**
 * A plug-in crashed, took too long or too much memory, or answered what cannot be.
 */
#define FITW_E_PLUGIN 510

/**
 * A defect of this library; the context and every handle stay usable.
 */
#define FITW_E_INTERNAL 900

/**
 * Log: a call failed.
 */
#define FITW_LOG_ERROR 10

/**
 * Log: something was dropped, healed or left out.
 */
#define FITW_LOG_NOTE 20

/**
 * Threads: as many as the machine has cores.
 */
#define FITW_THREADS_ALL -1

/**
 * Unit of length: millimetre.
 */
#define FITW_UNIT_MM 10

/**
 * Unit of length: centimetre.
 */
#define FITW_UNIT_CM 20

/**
 * Unit of length: metre.
 */
#define FITW_UNIT_M 30

/**
 * Unit of length: inch, 25.4 mm.
 */
#define FITW_UNIT_INCH 40

/**
 * Numbers of an array: double.
 */
#define FITW_SCALAR_F64 10

/**
 * Numbers of an array: float.
 */
#define FITW_SCALAR_F32 20

/**
 * Kind: plane.
 */
#define FITW_KIND_PLANE 10

/**
 * Kind: straight line or axis.
 */
#define FITW_KIND_LINE 20

/**
 * Kind: circle.
 */
#define FITW_KIND_CIRCLE 30

/**
 * Kind: sphere.
 */
#define FITW_KIND_SPHERE 40

/**
 * Kind: cylinder.
 */
#define FITW_KIND_CYLINDER 50

/**
 * Kind: cone.
 */
#define FITW_KIND_CONE 60

/**
 * Kind: torus.
 */
#define FITW_KIND_TORUS 70

/**
 * Kind of a fit: a shape of a plug-in, known by its parameters and pieces.
 */
#define FITW_KIND_COMPOSITE 100

/**
 * Kind of a feature: point (its shape is a sphere of radius 0).
 */
#define FITW_KIND_POINT 110

/**
 * Kind of a feature: hole (its shape is the cylinder of its wall).
 */
#define FITW_KIND_HOLE 120

/**
 * Criterion: smallest sum of squared distances; the default.
 */
#define FITW_CRITERION_LEAST_SQUARES 10

/**
 * Criterion: smallest largest distance.
 */
#define FITW_CRITERION_MINIMUM_ZONE 20

/**
 * Criterion: largest shape inside the points.
 */
#define FITW_CRITERION_MAXIMUM_INSCRIBED 30

/**
 * Criterion: smallest shape that holds the points.
 */
#define FITW_CRITERION_MINIMUM_CIRCUMSCRIBED 40

/**
 * Verdict: the limit is met by more than the expanded uncertainty.
 */
#define FITW_VERDICT_PASS 10

/**
 * Verdict: the limit is broken by more than the expanded uncertainty.
 */
#define FITW_VERDICT_FAIL 20

/**
 * Verdict: in between, or not seen.
 */
#define FITW_VERDICT_UNDECIDED 30

/**
 * Quantity of a number: length, mm.
 */
#define FITW_QUANTITY_LENGTH 10

/**
 * Quantity of a number: angle, rad.
 */
#define FITW_QUANTITY_ANGLE 20

/**
 * Quantity of a number: bare.
 */
#define FITW_QUANTITY_NUMBER 30

/**
 * Sort of an option of a fitter: a number of its quantity.
 */
#define FITW_OPTION_NUMBER 10

/**
 * Sort of an option of a fitter: a whole number.
 */
#define FITW_OPTION_WHOLE 20

/**
 * Sort of an option of a fitter: 1 for yes, 0 for no.
 */
#define FITW_OPTION_SWITCH 30

/**
 * Flag of fitw_mesh: the arrays stay the host's and are not copied; `release` gives them back.
 */
#define FITW_MESH_BORROW 1

/**
 * Flag of fitw_scan_options: drop points that are not finite, with their triangles, instead of failing.
 */
#define FITW_SCAN_DROP_INVALID 1

/**
 * In fitw_scan_info.borrows: the points lie in the host's memory.
 */
#define FITW_SCAN_BORROWS_POINTS 1

/**
 * In fitw_scan_info.borrows: the triangles lie in the host's memory.
 */
#define FITW_SCAN_BORROWS_TRIANGLES 2

/**
 * Value of a parameter: a place, mm.
 */
#define FITW_VALUE_POINT 10

/**
 * Value of a parameter: a unit direction.
 */
#define FITW_VALUE_DIRECTION 20

/**
 * Value of a parameter: a number, in value[0].
 */
#define FITW_VALUE_NUMBER 30

/**
 * Value of a parameter: a table of numbers, with its rows in value[0] and its columns in value[1]; see
 * fitw_fit_table_view.
 */
#define FITW_VALUE_TABLE 40

/**
 * Constraint: the radius of circle, sphere or cylinder is `value`, mm.
 */
#define FITW_CONSTRAINT_RADIUS 10

/**
 * Constraint: the major radius of a torus is `value`, mm.
 */
#define FITW_CONSTRAINT_MAJOR_RADIUS 20

/**
 * Constraint: the minor radius of a torus is `value`, mm.
 */
#define FITW_CONSTRAINT_MINOR_RADIUS 30

/**
 * Constraint: the half-angle of a cone is `value`, rad.
 */
#define FITW_CONSTRAINT_HALF_ANGLE 40

/**
 * Constraint: the direction (of a plane its normal) is parallel to `vector`, either way.
 */
#define FITW_CONSTRAINT_PARALLEL 50

/**
 * Constraint: the direction (of a plane its normal) is perpendicular to `vector`.
 */
#define FITW_CONSTRAINT_PERPENDICULAR 60

/**
 * Constraint: axis, line, plane or centre goes through the place `vector`, mm.
 */
#define FITW_CONSTRAINT_THROUGH 70

/**
 * Flag of fitw_fit_options: use every point; gross outliers are not looked for.
 */
#define FITW_FIT_KEEP_OUTLIERS 1

/**
 * Relation of a group: one axis; lines, circles, cylinders, cones, tori.
 */
#define FITW_GROUP_COAXIAL 10

/**
 * Relation of a group: one centre; circles, spheres, tori.
 */
#define FITW_GROUP_CONCENTRIC 20

/**
 * Relation of a group: one plane; planes.
 */
#define FITW_GROUP_COPLANAR 30

/**
 * Relation of a group: parallel directions (of a plane its normal); all but spheres.
 */
#define FITW_GROUP_PARALLEL 40

/**
 * Relation of a group: two directions square to each other; all but spheres.
 */
#define FITW_GROUP_PERPENDICULAR 50

/**
 * Extent: closed loops of points on a plane, see fitw_feature_piece_loop_view.
 */
#define FITW_EXTENT_OUTLINE 10

/**
 * Extent: a line from u_from to u_to, mm along the direction from the point.
 */
#define FITW_EXTENT_SEGMENT 20

/**
 * Extent: a circle from u_from to u_to, rad about the normal, counted from `zero`.
 */
#define FITW_EXTENT_ARC 30

/**
 * Extent: a patch of cylinder, cone, sphere or torus between parameters u and v.
 */
#define FITW_EXTENT_PATCH 40

/**
 * Extent: all of the shape.
 */
#define FITW_EXTENT_WHOLE 50

/**
 * It is where it was: its change is less than the limit by its uncertainty.
 */
#define FITW_MOVED_NO 0

/**
 * Its change is more than the limit by its uncertainty.
 */
#define FITW_MOVED_YES 1

/**
 * Neither, or it cannot be told which of several moved.
 */
#define FITW_MOVED_UNDECIDED 2

/**
 * It was not found: nothing is known.
 */
#define FITW_MOVED_NOT_SEEN 3

/**
 * For fitw_again_options: `start` is used.
 */
#define FITW_AGAIN_START 1

/**
 * STEP schema: AP214.
 */
#define FITW_STEP_AP214 214

/**
 * STEP schema: AP242; the default.
 */
#define FITW_STEP_AP242 242

/**
 * Flag of fitw_step_options: curved pieces are completed instead of trimmed to what was seen.
 */
#define FITW_STEP_FULL 1

/**
 * No primitive, or no hole, where the number of one could stand.
 */
#define FITW_SURVEY_NONE -1

/**
 * Side of the material: a plane has none.
 */
#define FITW_SIDE_FLAT 10

/**
 * Side of the material: inside the shape, as of a shaft, boss or ball.
 */
#define FITW_SIDE_OUTER 20

/**
 * Side of the material: outside the shape, as of a bore or socket.
 */
#define FITW_SIDE_INNER 30

/**
 * A group shares one axis.
 */
#define FITW_SURVEYED_COAXIAL 10

/**
 * A group shares one direction: of axes, or square to planes.
 */
#define FITW_SURVEYED_PARALLEL 20

/**
 * A group's two directions are at a right angle.
 */
#define FITW_SURVEYED_PERPENDICULAR 30

/**
 * A group shares one radius: cylinders, spheres, tubes.
 */
#define FITW_SURVEYED_SAME_RADIUS 40

/**
 * Finding about the part reaching into the machine.
 */
#define FITW_CHECK_INTERFERENCE 10

/**
 * Finding about air to what was scanned, or to another part (negative: the depth of their overlap).
 */
#define FITW_CHECK_CLEARANCE 20

/**
 * Finding about a bolt through both holes, about the pitch of two, or about all bolts at once.
 */
#define FITW_CHECK_HOLE 30

/**
 * Finding about a seat, or about all seats with the part pressed down.
 */
#define FITW_CHECK_SEAT 40

/**
 * Finding about what was not seen.
 */
#define FITW_CHECK_COVERAGE 50

/**
 * Finding about tools at a bolt, the bolt's own way in, or the seat of its head.
 */
#define FITW_CHECK_TOOL_ACCESS 60

/**
 * Finding about the way of the part to its seat.
 */
#define FITW_CHECK_INSERTION 70

/**
 * Finding about air to what moves, over all of its motion; its numbers "movement_1" and on are the values of its
 * movements there.
 */
#define FITW_CHECK_MOTION 80

/**
 * Finding about a bolt, a seat, all of them at once or air at temperature; its number "at_scan_temperature" is the value
 * before. As FITW_CHECK_SEAT it has a limit that is the largest admitted where it has a number "largest_gap" or is of all
 * seats.
 */
#define FITW_CHECK_THERMAL 90

/**
 * Finding about how far the finished part is off its model.
 */
#define FITW_CHECK_MADE_PART 100

/**
 * A number measures a length, mm.
 */
#define FITW_MEASURE_LENGTH 10

/**
 * A number measures an angle, rad.
 */
#define FITW_MEASURE_ANGLE 20

/**
 * A number measures an area, mm².
 */
#define FITW_MEASURE_AREA 30

/**
 * A number measures a volume, mm³.
 */
#define FITW_MEASURE_VOLUME 40

/**
 * A number is a ratio or a count.
 */
#define FITW_MEASURE_RATIO 50

/**
 * A straight socket does not count.
 */
#define FITW_TOOLS_NO_SOCKET 1

/**
 * An open-ended spanner does not count.
 */
#define FITW_TOOLS_NO_SPANNER 2

/**
 * Each of the tools must reach, else one is enough.
 */
#define FITW_TOOLS_EVERY 4

/**
 * No washer lies under the head.
 */
#define FITW_TOOLS_NO_WASHER 8

/**
 * Movement: a turn about an axis, by the right hand, rad.
 */
#define FITW_MOVE_TURN 10

/**
 * Movement: a shift along a direction, mm.
 */
#define FITW_MOVE_SHIFT 20

/**
 * What moves: the surface of a feature.
 */
#define FITW_MOVING_FEATURE 10

/**
 * What moves: a scan.
 */
#define FITW_MOVING_SCAN 20

/**
 * What moves: points of a scan in a box.
 */
#define FITW_MOVING_BOX 30

/**
 * What moves: points of a scan in a sphere.
 */
#define FITW_MOVING_SPHERE 40

/**
 * What moves: another part. Since 1.5.
 */
#define FITW_MOVING_PART 50

/**
 * Flag of fitw_temperature: `fixed_mm` is given.
 */
#define FITW_TEMPERATURE_FIXED 1

/**
 * The scan of a finished part is laid on the whole model.
 */
#define FITW_LAID_ON_MODEL 10

/**
 * The scan of a finished part is laid on the faces that sit on the machine and the walls of its bolt holes.
 */
#define FITW_LAID_ON_SEATS 20

/**
 * Flag of fitw_outcome_write: write the first scan in machine coordinates, too.
 */
#define FITW_OUTCOME_SCAN_MACHINE 1

/**
 * Scans adjusted all together over their overlaps. Immutable. [any-thread]
 */
typedef struct fitw_adjustment fitw_adjustment;

/**
 * What changed between the days. Immutable. [any-thread]
 */
typedef struct fitw_changes fitw_changes;

/**
 * Findings of the checks of a part. Immutable. [any-thread]
 */
typedef struct fitw_check fitw_check;

/**
 * What a host gives the engine: threads, callbacks, limits; and the place of the last error. The first
 * argument of nearly every call. Scans, fits and all other handles do not belong to a context: they may be
 * used with any, and may outlive it.
 *
 * Any thread may use it, several at once; but it keeps one last error, so give each thread that wants to
 * read its own error its own context (with threads = 1 it is cheap: one thread).
 */
typedef struct fitw_context fitw_context;

/**
 * The machine's own axes, from features of a scan (ISO 5459). Immutable. [any-thread]
 */
typedef struct fitw_datum fitw_datum;

/**
 * A named thing, fitted or constructed, with its bounded pieces and uncertainty, in one frame. Immutable.
 * [any-thread]
 */
typedef struct fitw_feature fitw_feature;

/**
 * A shape fitted to points, with its uncertainty and quality. Immutable. [any-thread]
 */
typedef struct fitw_fit fitw_fit;

/**
 * A job: which scans, features, datum system, part and checks, read and validated. Immutable. [any-thread]
 */
typedef struct fitw_job fitw_job;

/**
 * How one scan was joined to another. Immutable. [any-thread]
 */
typedef struct fitw_join fitw_join;

/**
 * Several joined scans as one: where they overlap, the better one is kept. Immutable. [any-thread]
 */
typedef struct fitw_merged fitw_merged;

/**
 * How far the noise of a scan hangs together, for the uncertainty of fits. A large face shows slow noise
 * that a small hole in it has too, but cannot show. Immutable. [any-thread]
 */
typedef struct fitw_noise fitw_noise;

/**
 * What the run of a job found. Immutable. [any-thread]
 */
typedef struct fitw_outcome fitw_outcome;

/**
 * The designed part in machine coordinates. Immutable. [any-thread]
 */
typedef struct fitw_part fitw_part;

/**
 * A set of points of one scan. Immutable; keeps its scan. [any-thread]
 */
typedef struct fitw_region fitw_region;

/**
 * A datum system with its features as an earlier run saved them (datum.json). Immutable. [any-thread]
 */
typedef struct fitw_saved_datum fitw_saved_datum;

/**
 * A scan: points with optional triangles and normals, in its scanner's coordinates, mm. Immutable; what
 * follows from it (normals, neighbours, noise) is computed once, when first asked for. [any-thread]
 */
typedef struct fitw_scan fitw_scan;

/**
 * What was found in a scan: planes, cylinders, cones, spheres and tori with their points, and what they make
 * together. Scan coordinates. Immutable; keeps its scan. [any-thread]
 */
typedef struct fitw_survey fitw_survey;

/**
 * A text that was made to be kept, such as a STEP file in memory. Immutable. [any-thread]
 */
typedef struct fitw_text fitw_text;

/**
 * What every function returns: FITW_OK or one of FITW_E_…. The numbers are frozen; a later library may
 * return ones that are not named here, so treat every other number than 0 as an error.
 */
typedef int32_t fitw_status;

/**
 * A text, UTF-8. As an argument: `len` bytes, or up to a NUL if `len` is FITW_NUL; read during the call
 * only; { NULL, 0 } is the empty text. As a result: `len` bytes and a NUL behind them, in memory that
 * belongs to the handle it was asked from, valid until that handle is released.
 */
typedef struct {
    /**
     * First byte; NULL only if `len` is 0.
     */
    const char *ptr;
    /**
     * Bytes without the NUL, or FITW_NUL.
     */
    size_t len;
} fitw_str;

/**
 * Progress of a running call: the step and the fraction of it that is done, 0 to 1. Return 0 to go on,
 * anything else to cancel (as fitw_context_cancel does).
 *
 * Called on any thread, one call at a time for a context; a report that would have to wait is left out.
 * `step` is valid during the callback. It must not throw, longjmp or block for long. It may call
 * fitw_context_cancel.
 */
typedef int32_t (*fitw_progress_fn)(void *user, fitw_str step, double fraction);

/**
 * A line for the host's log; `level` is FITW_LOG_…. Called on the thread of the call that causes it;
 * `line` is valid during the callback. It must not throw or longjmp.
 */
typedef void (*fitw_log_fn)(void *user, int32_t level, fitw_str line);

/**
 * How a context is made. All zero is the default.
 */
typedef struct {
    /**
     * sizeof(fitw_context_options).
     */
    uint32_t struct_size;
    /**
     * 0; no flags are defined.
     */
    uint32_t flags;
    /**
     * Worker threads, 1 to 1024, or FITW_THREADS_ALL; 0: one. Results do not depend on it.
     */
    int32_t threads;
    /**
     * 0.
     */
    int32_t reserved;
    /**
     * Most bytes that the positions, triangles and given normals of scans and parts made with this context
     * may take together while they live, checked before they are loaded; 0: no limit. Not counted: borrowed
     * arrays; what a scan keeps once it was asked for (normals, neighbours, search tree: about twice as much
     * as its positions and triangles); what a call takes while it runs (reading, fits and checks of all of a
     * scan: up to about five times as much); what jobs load.
     */
    uint64_t memory_limit;
    /**
     * Progress and cancel; may be NULL. Must stay callable until the context is released and every call
     * with it has returned.
     */
    fitw_progress_fn progress;
    /**
     * Handed to `progress`.
     */
    void *progress_user;
    /**
     * Log; may be NULL. As long-lived as `progress`.
     */
    fitw_log_fn log;
    /**
     * Handed to `log`.
     */
    void *log_user;
} fitw_context_options;

/**
 * Gives borrowed memory back: the library does not read it any more. Called exactly once after a call
 * that took it succeeded, on any thread, possibly before that call returns. It must not throw or longjmp.
 */
typedef void (*fitw_release_fn)(void *user);

/**
 * Points, and triangles or normals of them if there are any, in the host's memory.
 *
 * Copied during the call, unless `flags` has FITW_MESH_BORROW. Then points that are double, side by side
 * and in mm, and triangles that are side by side, are used where they lie: they must stay as they are until
 * `release` is called (exactly once if the call succeeds; never if it fails: the memory stays the host's).
 * What is not of that form, and all normals, is copied none the less; if nothing is left to borrow,
 * `release` is called before the call returns.
 */
typedef struct {
    /**
     * sizeof(fitw_mesh).
     */
    uint32_t struct_size;
    /**
     * 0 or FITW_MESH_BORROW.
     */
    uint32_t flags;
    /**
     * First coordinate of the first point; x, y, z lie side by side. Multiple of its scalar's size.
     */
    const void *points;
    /**
     * Number of points, 1 to 4294967295.
     */
    size_t point_count;
    /**
     * Bytes from one point to the next; 0: points lie side by side.
     */
    size_t point_stride;
    /**
     * Normal of each point, outward, any length but 0; NULL: none. Not for meshes with triangles of parts.
     */
    const void *normals;
    /**
     * Bytes from one normal to the next; 0: side by side.
     */
    size_t normal_stride;
    /**
     * First corner of the first triangle: three point numbers, counter-clockwise seen from outside. NULL:
     * bare points.
     */
    const uint32_t *triangles;
    /**
     * Number of triangles; 0 for bare points.
     */
    size_t triangle_count;
    /**
     * Bytes from one triangle to the next; 0: side by side.
     */
    size_t triangle_stride;
    /**
     * FITW_SCALAR_… of the points; 0: double.
     */
    int32_t point_scalar;
    /**
     * FITW_SCALAR_… of the normals; 0: double.
     */
    int32_t normal_scalar;
    /**
     * FITW_UNIT_… of the points; 0: mm.
     */
    int32_t unit;
    /**
     * 0.
     */
    int32_t reserved;
    /**
     * Gives borrowed arrays back; may be NULL if they outlive the scan and all that is made of it.
     */
    fitw_release_fn release;
    /**
     * Handed to `release`.
     */
    void *release_user;
} fitw_mesh;

/**
 * How a scan is read from a file. All zero is the default.
 */
typedef struct {
    /**
     * sizeof(fitw_scan_options).
     */
    uint32_t struct_size;
    /**
     * 0 or FITW_SCAN_DROP_INVALID.
     */
    uint32_t flags;
    /**
     * Most points the file may hold; 0: 200 million.
     */
    uint64_t max_points;
    /**
     * Most triangles the file may hold; 0: 400 million.
     */
    uint64_t max_triangles;
} fitw_scan_options;

/**
 * A rigid motion: p becomes rotation × p + translation.
 */
typedef struct {
    /**
     * Rotation matrix, row by row.
     */
    double rotation[9];
    /**
     * Translation, mm.
     */
    double translation_mm[3];
} fitw_pose;

/**
 * What a scan consists of.
 */
typedef struct {
    /**
     * sizeof(fitw_scan_info), set by the caller.
     */
    uint32_t struct_size;
    /**
     * FITW_SCAN_BORROWS_… of what lies in the host's memory.
     */
    uint32_t borrows;
    /**
     * Points.
     */
    uint64_t point_count;
    /**
     * Triangles; 0 for a point cloud.
     */
    uint64_t triangle_count;
    /**
     * Notes, see fitw_scan_note.
     */
    uint64_t note_count;
} fitw_scan_info;

/**
 * An unbounded ideal shape.
 */
typedef struct {
    /**
     * sizeof(fitw_shape), set by the caller.
     */
    uint32_t struct_size;
    /**
     * FITW_KIND_PLANE to FITW_KIND_TORUS; FITW_KIND_COMPOSITE as a result only, with nothing but `point_mm`.
     */
    int32_t kind;
    /**
     * On the plane, line or axis; centre of circle, sphere, torus; mm.
     */
    double point_mm[3];
    /**
     * Unit normal of plane and circle, direction of a line, axis of cylinder, cone (towards growing
     * radius), torus; zero for a sphere. As an argument of any length but 0.
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
} fitw_shape;

/**
 * How a region grows. 0 is the default, derived from the scan's noise and resolution.
 */
typedef struct {
    /**
     * sizeof(fitw_grow_options).
     */
    uint32_t struct_size;
    /**
     * 0; no flags are defined.
     */
    uint32_t flags;
    /**
     * Largest distance of a point from the shape, mm; 0: 4 times the noise plus 5 % of the resolution.
     */
    double distance_mm;
    /**
     * Largest angle between a point's normal and the shape's, rad; 0: 20 degrees or what noise explains.
     */
    double angle_rad;
    /**
     * Largest distance of the pick from the nearest point, mm; 0: 5 times the resolution.
     */
    double pick_distance_mm;
    /**
     * Points nearer than this to the region's edge are left out, mm; 0: twice the resolution, less on
     * narrow faces; negative: none are left out (what a feature's bounds are taken from).
     */
    double trim_mm;
} fitw_grow_options;

/**
 * A fitter that may be asked for.
 */
typedef struct {
    /**
     * sizeof(fitw_fitter_info), set by the caller.
     */
    uint32_t struct_size;
    /**
     * FITW_KIND_… of what it fits.
     */
    int32_t kind;
    /**
     * Fewest points it works with.
     */
    uint64_t minimum_points;
    /**
     * Id, such as "builtin.cylinder"; valid until the context is released.
     */
    fitw_str id;
    /**
     * One line for people; valid until the context is released.
     */
    fitw_str title;
} fitw_fitter_info;

/**
 * An option of a fitter.
 */
typedef struct {
    /**
     * sizeof(fitw_option_info), set by the caller.
     */
    uint32_t struct_size;
    /**
     * FITW_OPTION_…
     */
    int32_t sort;
    /**
     * FITW_QUANTITY_…
     */
    int32_t quantity;
    /**
     * 0.
     */
    int32_t reserved;
    /**
     * Name; valid until the context is released.
     */
    fitw_str name;
    /**
     * One line for people; valid until the context is released.
     */
    fitw_str description;
    /**
     * Value where none is given, mm or rad.
     */
    double standard;
    /**
     * Smallest value.
     */
    double least;
    /**
     * Largest value.
     */
    double most;
} fitw_option_info;

/**
 * Something known of a shape, held exactly while the rest is fitted.
 */
typedef struct {
    /**
     * FITW_CONSTRAINT_…
     */
    int32_t kind;
    /**
     * 0.
     */
    int32_t reserved;
    /**
     * The number that the kind asks for; else 0.
     */
    double value;
    /**
     * The direction or place that the kind asks for; else zeros.
     */
    double vector[3];
} fitw_constraint;

/**
 * Covariance of a shape as that of a small motion of it about a point, plus its sizes. Components: shift
 * x, y, z (mm); turn about x, y, z (rad); size 1; size 2 (see fitw_shape). A place p carried by the shape
 * moves by shift + turn × (p - about). Motions that do not change the shape have variance 0.
 */
typedef struct {
    /**
     * sizeof(fitw_covariance), set by the caller.
     */
    uint32_t struct_size;
    /**
     * 0.
     */
    int32_t reserved;
    /**
     * Point that the motion is taken about, mm.
     */
    double about_mm[3];
    /**
     * 8 × 8, symmetric, row by row.
     */
    double matrix[64];
} fitw_covariance;

/**
 * Value of an option of a plug-in's fitter, see fitw_fitter_option.
 */
typedef struct {
    /**
     * Its name.
     */
    fitw_str name;
    /**
     * Its value, mm or rad; of a switch 1 or 0.
     */
    double value;
} fitw_option_value;

/**
 * How a shape is fitted. All zero is the default.
 */
typedef struct {
    /**
     * sizeof(fitw_fit_options).
     */
    uint32_t struct_size;
    /**
     * 0 or FITW_FIT_KEEP_OUTLIERS.
     */
    uint32_t flags;
    /**
     * FITW_CRITERION_…; 0: least squares.
     */
    int32_t criterion;
    /**
     * 0.
     */
    int32_t reserved;
    /**
     * What is known of the shape; may be NULL. Read during the call.
     */
    const fitw_constraint *constraints;
    /**
     * Number of constraints.
     */
    size_t constraint_count;
    /**
     * Bytes from one constraint to the next; 0: side by side.
     */
    size_t constraint_stride;
    /**
     * What is known of the scan's noise, see fitw_noise_pool; NULL: what these points tell of it.
     */
    const fitw_noise *noise;
    /**
     * Covariance of the feature that the constraints' direction was taken from: its tilt is carried into
     * the covariance of the fit. NULL: the direction is exact.
     */
    const fitw_covariance *reference;
    /**
     * Options of a plug-in's fitter that are not to have their standard value; may be NULL. Built-in fitters
     * have none. Read during the call.
     */
    const fitw_option_value *options;
    /**
     * Number of options.
     */
    size_t option_count;
    /**
     * Bytes from one option to the next; 0: side by side.
     */
    size_t option_stride;
} fitw_fit_options;

/**
 * Points of the host to fit to, without a scan. Read during the call.
 */
typedef struct {
    /**
     * sizeof(fitw_points).
     */
    uint32_t struct_size;
    /**
     * FITW_SCALAR_… of points and normals; 0: double.
     */
    int32_t scalar;
    /**
     * x, y, z of the first point, mm.
     */
    const void *points;
    /**
     * Number of points.
     */
    size_t count;
    /**
     * Bytes from one point to the next; 0: side by side.
     */
    size_t point_stride;
    /**
     * Unit normal of each point, zero where unknown; NULL: none.
     */
    const void *normals;
    /**
     * Bytes from one normal to the next; 0: side by side.
     */
    size_t normal_stride;
    /**
     * Where the user pointed: three numbers, mm; may be NULL.
     */
    const double *pick_mm;
    /**
     * Noise of the points, mm; 0: unknown.
     */
    double noise_mm;
    /**
     * Usual distance from point to point, mm; 0: unknown. Plug-ins may use it.
     */
    double resolution_mm;
} fitw_points;

/**
 * A named parameter of a shape, as in result.json: plane point, normal; line point, direction; circle
 * centre, normal, radius; sphere centre, radius; cylinder point, axis, radius; cone point, axis, radius,
 * half_angle; torus centre, axis, major_radius, minor_radius; of a plug-in's shape what the plug-in says.
 */
typedef struct {
    /**
     * sizeof(fitw_parameter), set by the caller.
     */
    uint32_t struct_size;
    /**
     * FITW_VALUE_…
     */
    int32_t value_kind;
    /**
     * FITW_QUANTITY_… of a number; 0 else.
     */
    int32_t quantity;
    /**
     * 0.
     */
    int32_t reserved;
    /**
     * Name; valid until the handle it was asked from is released.
     */
    fitw_str name;
    /**
     * x, y, z, or the number and two zeros, or rows, columns and a zero.
     */
    double value[3];
} fitw_parameter;

/**
 * How good a fit is.
 */
typedef struct {
    /**
     * sizeof(fitw_quality), set by the caller.
     */
    uint32_t struct_size;
    /**
     * 1 if the iteration reached its answer, else 0.
     */
    int32_t converged;
    /**
     * Points used.
     */
    uint64_t points;
    /**
     * Points left out as gross outliers.
     */
    uint64_t rejected;
    /**
     * Iterations.
     */
    uint64_t iterations;
    /**
     * Root mean square of the distances of the used points, mm.
     */
    double rms_mm;
    /**
     * Largest absolute distance of a used point, mm.
     */
    double largest_mm;
    /**
     * Largest minus smallest signed distance, mm.
     */
    double zone_mm;
    /**
     * Standard deviation of one point, mm.
     */
    double sigma_mm;
    /**
     * Extent of the data along the axis (plane: largest extent), mm.
     */
    double extent_mm;
    /**
     * Arc covered about the axis, rad, up to 2 pi; 2 pi for planes and lines.
     */
    double arc_rad;
    /**
     * Condition number of the fit; large: badly determined.
     */
    double condition;
    /**
     * FITW_CRITERION_… that the shape answers.
     */
    int32_t criterion;
    /**
     * 0.
     */
    int32_t reserved;
    /**
     * Points that decide the shape, where the criterion is another than least squares; else 0.
     */
    uint64_t contact_count;
    /**
     * Neighbouring shapes that the points were held against, see fitw_fit_evidence.
     */
    uint64_t evidence_count;
    /**
     * Standard deviation of the part of the scatter that is independent from point to point, mm.
     */
    double independent_mm;
    /**
     * Standard deviation of the part that neighbouring points have in common (slow noise, form), mm.
     */
    double smooth_mm;
    /**
     * Distance over which that part hangs together, mm; 0 where there is none.
     */
    double smooth_length_mm;
    /**
     * How many independent points would determine the shape as well.
     */
    double effective_points;
} fitw_quality;

/**
 * Expanded uncertainties (coverage factor 2) of a shape at a place.
 */
typedef struct {
    /**
     * sizeof(fitw_uncertainty), set by the caller.
     */
    uint32_t struct_size;
    /**
     * 0.
     */
    int32_t reserved;
    /**
     * Of a place carried by the shape, in the direction where it is largest, mm.
     */
    double position_mm;
    /**
     * Of the tilt of the shape's direction, rad; 0 for a shape without one.
     */
    double tilt_rad;
    /**
     * Of size 1 (see fitw_shape), mm.
     */
    double size_1;
    /**
     * Of size 2, mm or rad.
     */
    double size_2;
} fitw_uncertainty;

/**
 * How a fitted shape stands against a neighbouring one: is it that shape at all?
 */
typedef struct {
    /**
     * sizeof(fitw_evidence), set by the caller.
     */
    uint32_t struct_size;
    /**
     * 0.
     */
    int32_t reserved;
    /**
     * The other shape, such as "cone" for a cylinder; valid until the context is released.
     */
    fitw_str against;
    /**
     * Largest deviation of the points towards the other shape, mm.
     */
    double amplitude_mm;
    /**
     * Expanded uncertainty of the amplitude, coverage factor 2, mm.
     */
    double uncertainty_mm;
    /**
     * Probability of at least this much by chance if the fitted shape is the true one.
     */
    double probability;
} fitw_evidence;

/**
 * What the constraints of a fit cost.
 */
typedef struct {
    /**
     * sizeof(fitw_constraint_cost), set by the caller.
     */
    uint32_t struct_size;
    /**
     * Freedoms that the constraints took away; 0: there were none, and the rest is 0.
     */
    int32_t freedoms;
    /**
     * Standard deviation of one point without the constraints, mm; -1: the points alone do not
     * determine the shape.
     */
    double free_sigma_mm;
    /**
     * Standard deviation of one point with them, mm.
     */
    double sigma_mm;
    /**
     * Probability that points which obey them cost this much by chance; -1: as above.
     */
    double probability;
} fitw_constraint_cost;

/**
 * One shape of a group, with its points: of a region or of the host, the other NULL.
 */
typedef struct {
    /**
     * FITW_KIND_PLANE to FITW_KIND_TORUS.
     */
    int32_t kind;
    /**
     * 0.
     */
    int32_t reserved;
    /**
     * A region, used as by fitw_fit_region.
     */
    const fitw_region *region;
    /**
     * Points of the host, used as by fitw_fit_points.
     */
    const fitw_points *points;
} fitw_group_member;

/**
 * What is known of a hole before looking for it.
 */
typedef struct {
    /**
     * sizeof(fitw_hole_search).
     */
    uint32_t struct_size;
    /**
     * 0; no flags are defined.
     */
    uint32_t flags;
    /**
     * Name of the feature to be made; not empty.
     */
    fitw_str name;
    /**
     * The plane it opens in, scan coordinates, its normal out of the material.
     */
    const fitw_feature *face;
    /**
     * That plane's points, edges included: grown with a negative trim_mm.
     */
    const fitw_region *face_region;
    /**
     * A place near the hole, mm: in its mouth, on its rim or on its wall.
     */
    double pick_mm[3];
    /**
     * Largest radius to look for, mm; 0: a third of the face's extent.
     */
    double largest_radius_mm;
} fitw_hole_search;

/**
 * How two features lie to each other. Uncertainties are expanded, coverage factor 2.
 */
typedef struct {
    /**
     * sizeof(fitw_relation), set by the caller.
     */
    uint32_t struct_size;
    /**
     * 0.
     */
    int32_t reserved;
    /**
     * Angle between their directions, rad, 0 to pi/2; NaN if one has none.
     */
    double angle_rad;
    /**
     * Uncertainty of the angle, rad; NaN as above.
     */
    double angle_uncertainty_rad;
    /**
     * Distance, mm; from a plane signed.
     */
    double distance_mm;
    /**
     * Uncertainty of the distance, mm.
     */
    double distance_uncertainty_mm;
    /**
     * What the distance is, such as "between axes, at the middle of b"; valid until the context is
     * released.
     */
    fitw_str measure;
} fitw_relation;

/**
 * What a feature is.
 */
typedef struct {
    /**
     * sizeof(fitw_feature_info), set by the caller.
     */
    uint32_t struct_size;
    /**
     * FITW_KIND_…
     */
    int32_t kind;
    /**
     * Name; valid until the feature is released.
     */
    fitw_str name;
    /**
     * Id of the fitter that made it, or "construction.intersection", "construction.midplane"; valid until
     * the feature is released.
     */
    fitw_str fitter;
    /**
     * Bounded pieces, see fitw_feature_piece.
     */
    uint64_t piece_count;
    /**
     * Parameters, see fitw_feature_parameter.
     */
    uint64_t parameter_count;
    /**
     * Notes, see fitw_feature_note.
     */
    uint64_t note_count;
} fitw_feature_info;

/**
 * A column of a table.
 */
typedef struct {
    /**
     * sizeof(fitw_column), set by the caller.
     */
    uint32_t struct_size;
    /**
     * FITW_QUANTITY_… of its numbers.
     */
    int32_t quantity;
    /**
     * Name; valid until the handle it was asked from is released.
     */
    fitw_str name;
} fitw_column;

/**
 * A bounded piece of a feature: a shape and how much of it exists.
 */
typedef struct {
    /**
     * sizeof(fitw_piece), set by the caller.
     */
    uint32_t struct_size;
    /**
     * FITW_EXTENT_…
     */
    int32_t extent;
    /**
     * FITW_KIND_… of the shape; this and the next four as in fitw_shape.
     */
    int32_t kind;
    /**
     * Loops of an outline; 0 else.
     */
    uint32_t loop_count;
    /**
     * See fitw_shape, mm.
     */
    double point_mm[3];
    /**
     * See fitw_shape.
     */
    double direction[3];
    /**
     * See fitw_shape, mm.
     */
    double size_1;
    /**
     * See fitw_shape, mm or rad.
     */
    double size_2;
    /**
     * Arc, patch: direction of u = 0, perpendicular to the axis (sphere: to `pole`).
     */
    double zero[3];
    /**
     * Patch: the axis that u turns about; of a sphere its own choice.
     */
    double pole[3];
    /**
     * Segment: mm. Arc, patch: angle about the axis, rad; u_from < u_to ≤ u_from + 2 pi.
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
} fitw_piece;

/**
 * Largest permissible error of a length that the scanner's maker states (ISO 10360-8, VDI/VDE 2634-3):
 * fixed_mm + per_length × length. It is one of the whole scan, so no residual shows it. All zero: none is
 * stated.
 */
typedef struct {
    /**
     * Part that does not depend on the length, mm, 0 or more.
     */
    double fixed_mm;
    /**
     * Part in proportion to the length, mm per mm, up to 0.1: 0.05 mm per metre is 0.00005.
     */
    double per_length;
} fitw_length_error;

/**
 * One datum of a system.
 */
typedef struct {
    /**
     * A plane, axis or point, scan coordinates.
     */
    const fitw_feature *feature;
    /**
     * The machine axis that its direction becomes: "+x", "-x" … "-z"; empty: none.
     */
    fitw_str axis;
    /**
     * The coordinates that it sets to zero ahead of later datums: "origin", or letters as "xy"; empty:
     * those that are left open.
     */
    fitw_str sets;
} fitw_datum_feature;

/**
 * What a datum system consists of.
 */
typedef struct {
    /**
     * sizeof(fitw_datum_info), set by the caller.
     */
    uint32_t struct_size;
    /**
     * 0.
     */
    int32_t reserved;
    /**
     * Angles between datum features, see fitw_datum_squareness.
     */
    uint64_t squareness_count;
    /**
     * What each datum took, see fitw_datum_taken.
     */
    uint64_t taken_count;
} fitw_datum_info;

/**
 * Angle between two datum features.
 */
typedef struct {
    /**
     * sizeof(fitw_squareness), set by the caller.
     */
    uint32_t struct_size;
    /**
     * 0.
     */
    int32_t reserved;
    /**
     * Name of the first; valid until the datum system is released.
     */
    fitw_str a;
    /**
     * Name of the second.
     */
    fitw_str b;
    /**
     * Angle between their directions, rad, 0 to pi/2.
     */
    double angle_rad;
    /**
     * Its deviation from the nearer of 0 and pi/2, rad.
     */
    double deviation_rad;
    /**
     * Expanded uncertainty (coverage factor 2) of the deviation, rad.
     */
    double uncertainty_rad;
} fitw_squareness;

/**
 * How scans are joined. 0 is the default.
 */
typedef struct {
    /**
     * sizeof(fitw_join_options).
     */
    uint32_t struct_size;
    /**
     * 0; no flags are defined.
     */
    uint32_t flags;
    /**
     * By targets: largest distance of a target from its partner, mm; 0: 0.3. By features, since 1.6: largest
     * distance of a feature from its like, beyond three standard deviations of it, mm; 0: 1.
     */
    double tolerance_mm;
    /**
     * By targets: standard deviation of one coordinate below which residuals say nothing, mm; 0: 0.03.
     */
    double least_deviation_mm;
    /**
     * By surface: how far the start may put any point from its place, mm; 0: 5 % of the scan's diagonal.
     */
    double reach_mm;
    /**
     * By surface: largest angle between the normals of a pair, rad; 0: 45 degrees.
     */
    double normal_angle_rad;
    /**
     * By surface: smallest share of points that overlap, up to 1; 0: 0.1.
     */
    double least_overlap;
    /**
     * By surface: most iterations of each step; 0: 60.
     */
    uint64_t iterations;
    /**
     * From an unknown start: poses that can be asked for, at most; 0: 5. Since 1.6.
     */
    uint64_t candidates;
    /**
     * By features: largest standard deviation of a motion, at the mean distance of the features from their middle,
     * that counts as held, mm; 0: 0.5. Since 1.6.
     */
    double loosest_mm;
} fitw_join_options;

/**
 * A feature that is the same in two scans, as each shows it: planes, axes (lines, cylinders, cones), circles,
 * tori, spheres (radius 0: points). Since 1.6.
 */
typedef struct {
    /**
     * In coordinates of the scan joined to; its name is told.
     */
    const fitw_feature *to;
    /**
     * In coordinates of the scan that is joined.
     */
    const fitw_feature *from;
    /**
     * 1 if both directions point the same way, such as normals of planes that point out of the material; 0 if
     * their sign is not sure.
     */
    int32_t directed;
    /**
     * 0.
     */
    int32_t reserved;
} fitw_same_feature;

/**
 * How well a scan was joined.
 */
typedef struct {
    /**
     * sizeof(fitw_join_info), set by the caller.
     */
    uint32_t struct_size;
    /**
     * 1 if the iteration reached its answer, else 0; always 1 by targets.
     */
    int32_t converged;
    /**
     * Root mean square of the residuals, mm.
     */
    double rms_mm;
    /**
     * By surface: share of the scan's points that overlap. By targets: share that found a partner.
     */
    double overlap;
    /**
     * Pairs of targets, see fitw_join_pair; 0 by surface.
     */
    uint64_t pair_count;
    /**
     * Notes, see fitw_join_note.
     */
    uint64_t note_count;
    /**
     * Poses that were weighed, see fitw_join_candidate; 0 but from an unknown start. Since 1.6.
     */
    uint64_t candidate_count;
    /**
     * Features joined by, see fitw_join_feature; 0 but by features. Since 1.6.
     */
    uint64_t feature_count;
    /**
     * By features: equations more than a pose needs. Since 1.6.
     */
    uint64_t freedom_count;
    /**
     * By features: sum of the squared residuals of those used, each over its uncertainty. Since 1.6.
     */
    double chi_square;
    /**
     * By features: probability of a larger sum by chance; 1 without freedoms. Since 1.6.
     */
    double probability;
} fitw_join_info;

/**
 * A target seen in both scans.
 */
typedef struct {
    /**
     * sizeof(fitw_target_pair), set by the caller.
     */
    uint32_t struct_size;
    /**
     * 0.
     */
    int32_t reserved;
    /**
     * Its place in the list of the scan joined to, from 0.
     */
    uint64_t to;
    /**
     * Its place in the list of the scan that is joined.
     */
    uint64_t from;
    /**
     * Distance between the two after the join, mm.
     */
    double residual_mm;
    /**
     * Share of its own coordinates in where the join puts it, 0 to 1; near 1 nothing checks it.
     */
    double leverage;
} fitw_target_pair;

/**
 * A pose that was weighed in a join from an unknown start, before the last fit. Since 1.6.
 */
typedef struct {
    /**
     * sizeof(fitw_candidate_pose), set by the caller.
     */
    uint32_t struct_size;
    /**
     * 0.
     */
    int32_t reserved;
    /**
     * Takes coordinates of the joined scan to those of the scan joined to.
     */
    fitw_pose to_from_this;
    /**
     * Its share among all that were weighed, 0 to 1.
     */
    double probability;
    /**
     * Natural logarithm of how much likelier what lies on the other surface is of the true pose than of a chance
     * one.
     */
    double evidence;
    /**
     * Cells of the joined scan that lie on the other surface.
     */
    uint64_t matched;
    /**
     * Cells over the inside of the other surface that do not lie on it.
     */
    uint64_t against;
} fitw_candidate_pose;

/**
 * How far a feature of the joined scan lies from its like after the fit. Since 1.6.
 */
typedef struct {
    /**
     * sizeof(fitw_feature_residual), set by the caller.
     */
    uint32_t struct_size;
    /**
     * 1 if the pose was fitted to it; 0 if it disagreed with all others and was left out.
     */
    int32_t used;
    /**
     * Its name; valid until the join is released.
     */
    fitw_str name;
    /**
     * Distance as far as the shape shows it, mm.
     */
    double distance_mm;
    /**
     * Expanded uncertainty (coverage factor 2) of one component of it, mm.
     */
    double distance_uncertainty_mm;
    /**
     * Angle between the directions, rad; 0 without directions.
     */
    double tilt_rad;
    /**
     * Expanded uncertainty of one component of it, rad.
     */
    double tilt_uncertainty_rad;
    /**
     * Its share of the chi-square.
     */
    double square;
    /**
     * Numbers that it gives: 3 of a plane or point, 4 of an axis, 5 of a circle or torus.
     */
    uint64_t equation_count;
} fitw_feature_residual;

/**
 * A scan to be adjusted with others. Since 1.6.
 */
typedef struct {
    /**
     * The scan, in its own coordinates.
     */
    const fitw_scan *scan;
    /**
     * Takes its coordinates to those of all, nearly.
     */
    fitw_pose common_from_scan;
} fitw_started_scan;

/**
 * Two scans by their places in a list. Since 1.6.
 */
typedef struct {
    /**
     * The scan joined to.
     */
    uint32_t to;
    /**
     * The scan that is joined.
     */
    uint32_t from;
} fitw_scan_pair;

/**
 * A join by targets or features that holds two scans together beside their surfaces. Since 1.6.
 */
typedef struct {
    /**
     * The join.
     */
    const fitw_join *join;
    /**
     * Place in the list of the scan joined to.
     */
    uint32_t to;
    /**
     * Place of the scan that was joined.
     */
    uint32_t from;
} fitw_observed_join;

/**
 * How scans are adjusted. 0 is the default. Since 1.6.
 */
typedef struct {
    /**
     * sizeof(fitw_adjust_options).
     */
    uint32_t struct_size;
    /**
     * 0; no flags are defined.
     */
    uint32_t flags;
    /**
     * How far the starts may put any point from its place, mm; 0: 5 % of a scan's diagonal.
     */
    double reach_mm;
    /**
     * Largest angle between the normals of a pair, rad; 0: 45 degrees.
     */
    double normal_angle_rad;
    /**
     * Smallest share of points in an overlap, up to 1; 0: 0.1.
     */
    double least_overlap;
    /**
     * Most iterations of each step; 0: 60.
     */
    uint64_t iterations;
    /**
     * Pairs to use, side by side; NULL: all that overlap.
     */
    const fitw_scan_pair *pairs;
    /**
     * How many.
     */
    size_t pair_count;
    /**
     * Joins that hold scans together beside their surfaces, side by side; may be NULL.
     */
    const fitw_observed_join *observed;
    /**
     * How many.
     */
    size_t observed_count;
    /**
     * Place in the list of the scan that is held.
     */
    uint64_t held;
} fitw_adjust_options;

/**
 * What an adjustment came to. Since 1.6.
 */
typedef struct {
    /**
     * sizeof(fitw_adjustment_info), set by the caller.
     */
    uint32_t struct_size;
    /**
     * 1 if the steps became small, else 0.
     */
    int32_t converged;
    /**
     * Scans.
     */
    uint64_t scan_count;
    /**
     * Pairs that were used, see fitw_adjustment_pair.
     */
    uint64_t pair_count;
    /**
     * Notes, see fitw_adjustment_note.
     */
    uint64_t note_count;
} fitw_adjustment_info;

/**
 * How the surfaces of a pair lie on each other after an adjustment. Since 1.6.
 */
typedef struct {
    /**
     * sizeof(fitw_adjusted_pair), set by the caller.
     */
    uint32_t struct_size;
    /**
     * 0.
     */
    int32_t reserved;
    /**
     * Place in the list of the scan joined to.
     */
    uint32_t to;
    /**
     * Place of the scan that is joined.
     */
    uint32_t from;
    /**
     * Points of `from` on the surface of `to`.
     */
    uint64_t point_count;
    /**
     * Their share of the points of `from`.
     */
    double overlap;
    /**
     * Root mean square distance from the surface at the start, mm.
     */
    double rms_before_mm;
    /**
     * The same after the adjustment, mm.
     */
    double rms_mm;
    /**
     * Mean of the signed distances after it, mm: positive where `from` lies outside `to`.
     */
    double offset_mm;
    /**
     * How far from here the pair alone would put `from`, at the middle of the overlap, mm.
     */
    double misfit_mm;
    /**
     * How far it would turn it, rad.
     */
    double misfit_rad;
} fitw_adjusted_pair;

/**
 * A scan to be put into one with others. Since 1.6.
 */
typedef struct {
    /**
     * The scan, in its own coordinates.
     */
    const fitw_scan *scan;
    /**
     * Takes its coordinates to those of all, such as a datum's machine_from_scan times the joins between.
     */
    fitw_pose all_from_this;
    /**
     * How it was joined, for its uncertainty; NULL for the scan that the others are joined to.
     */
    const fitw_join *join;
} fitw_placed_scan;

/**
 * Limits of putting scans into one. 0 is the default. Since 1.6.
 */
typedef struct {
    /**
     * sizeof(fitw_merge_options).
     */
    uint32_t struct_size;
    /**
     * 0; no flags are defined.
     */
    uint32_t flags;
    /**
     * Surfaces of two scans that face one way and are this near are one, mm; 0: from spacing, noise and joins.
     */
    double reach_mm;
    /**
     * How many times better a later scan must know a place to take it from an earlier one, 1 or more; 0: 1.2.
     */
    double margin;
} fitw_merge_options;

/**
 * What several scans as one consist of. Since 1.6.
 */
typedef struct {
    /**
     * sizeof(fitw_merged_info), set by the caller.
     */
    uint32_t struct_size;
    /**
     * 0.
     */
    int32_t reserved;
    /**
     * Points that are kept.
     */
    uint64_t point_count;
    /**
     * Triangles that are kept; 0 if a scan is bare points.
     */
    uint64_t triangle_count;
    /**
     * Pairs of scans that meet, see fitw_merged_seam.
     */
    uint64_t seam_count;
} fitw_merged_info;

/**
 * Where two scans meet. Since 1.6.
 */
typedef struct {
    /**
     * sizeof(fitw_seam), set by the caller.
     */
    uint32_t struct_size;
    /**
     * 1 if a step is more than its uncertainty: the join is worse than it says, or something moved.
     */
    int32_t exceeds;
    /**
     * Place of the first scan in the list.
     */
    uint32_t a;
    /**
     * Place of the second.
     */
    uint32_t b;
    /**
     * Length of all their common seams, mm.
     */
    double length_mm;
    /**
     * Mean step across it, mm: positive where the second scan lies farther out of the material.
     */
    double mean_mm;
    /**
     * Expanded uncertainty (coverage factor 2) of the mean step, mm.
     */
    double uncertainty_mm;
    /**
     * Largest step, averaged over stretches of the seam, mm, signed as the mean.
     */
    double largest_mm;
    /**
     * The same with coverage factor 4, mm: it is the largest of many.
     */
    double largest_uncertainty_mm;
    /**
     * Where that is, coordinates of all, mm.
     */
    double at_mm[3];
} fitw_seam;

/**
 * What a saved datum system consists of. Since 1.7.
 */
typedef struct {
    /**
     * sizeof(fitw_saved_datum_info), set by the caller.
     */
    uint32_t struct_size;
    /**
     * 0.
     */
    int32_t reserved;
    /**
     * Job that saved it; valid until it is released.
     */
    fitw_str job;
    /**
     * Features, see fitw_saved_datum_feature.
     */
    uint64_t feature_count;
    /**
     * Takes coordinates of that day's first scan to machine coordinates: a start if the scanner's own coordinates
     * stayed.
     */
    fitw_pose machine_from_scan;
} fitw_saved_datum_info;

/**
 * A feature as it was saved. Since 1.7.
 */
typedef struct {
    /**
     * sizeof(fitw_saved_feature), set by the caller.
     */
    uint32_t struct_size;
    /**
     * FITW_KIND_…
     */
    int32_t kind;
    /**
     * Its name; valid until the saved datum system is released.
     */
    fitw_str name;
    /**
     * Middle of what was seen of it, machine coordinates, mm.
     */
    double middle_mm[3];
    /**
     * Radius about the middle that holds it, mm.
     */
    double extent_mm;
} fitw_saved_feature;

/**
 * Limits of finding a saved datum system again. 0 is the default. Since 1.7.
 */
typedef struct {
    /**
     * sizeof(fitw_again_options).
     */
    uint32_t struct_size;
    /**
     * FITW_AGAIN_START or 0: any pose.
     */
    uint32_t flags;
    /**
     * Where to look: takes scan coordinates to about machine coordinates.
     */
    fitw_pose start;
    /**
     * How far the start may put any feature from its place, mm; 0: a tenth of the features' spread.
     */
    double reach_mm;
    /**
     * How far a feature may be from where the others say to be counted as found, beyond its uncertainty, mm; 0: 0.1.
     */
    double tolerance_mm;
} fitw_again_options;

/**
 * Where a saved datum system was found. Since 1.7.
 */
typedef struct {
    /**
     * sizeof(fitw_found_again), set by the caller.
     */
    uint32_t struct_size;
    /**
     * 0.
     */
    int32_t reserved;
    /**
     * Takes scan coordinates to machine coordinates, by all features that were matched.
     */
    fitw_pose machine_from_scan;
    /**
     * Features that were matched.
     */
    uint64_t matched_count;
    /**
     * Root mean square of what the pairs disagree by, in their own deviations.
     */
    double deviation;
} fitw_found_again;

/**
 * What changed between the days. Since 1.7.
 */
typedef struct {
    /**
     * sizeof(fitw_changes_info), set by the caller.
     */
    uint32_t struct_size;
    /**
     * 0.
     */
    int32_t reserved;
    /**
     * Features, see fitw_changes_feature.
     */
    uint64_t feature_count;
    /**
     * Names of those that stand out, see fitw_changes_stand_out.
     */
    uint64_t stand_out_count;
    /**
     * Notes, see fitw_changes_note.
     */
    uint64_t note_count;
    /**
     * Degrees of freedom of `square`.
     */
    uint64_t freedom_count;
    /**
     * Weighted sum of squares of all features against a frame common to all.
     */
    double square;
    /**
     * Probability that chance makes it as large, if nothing moved.
     */
    double probability;
    /**
     * Takes today's machine coordinates to those in which the features that did not move are where they were.
     */
    fitw_pose still_from_machine;
} fitw_changes_info;

/**
 * Change of a feature from the saved day to the later one, machine axes. Since 1.7.
 */
typedef struct {
    /**
     * sizeof(fitw_change), set by the caller.
     */
    uint32_t struct_size;
    /**
     * FITW_MOVED_…
     */
    int32_t moved;
    /**
     * Name of the feature; valid until the changes are released.
     */
    fitw_str name;
    /**
     * Why, where it needs a word; may be empty. As above.
     */
    fitw_str note;
    /**
     * Change of place, mm, as far as the shape shows it: a plane's along its normal, an axis's across it.
     */
    double shift_mm[3];
    /**
     * Its expanded uncertainty (coverage factor 2) in the worst direction, mm.
     */
    double shift_uncertainty_mm;
    /**
     * Change of direction, rad.
     */
    double turn_rad;
    /**
     * Its expanded uncertainty, rad.
     */
    double turn_uncertainty_rad;
    /**
     * Change of the radius or major radius, mm; 0 without one.
     */
    double size_1;
    /**
     * Change of the minor radius, mm, or the half-angle, rad; 0 without one.
     */
    double size_2;
    /**
     * Expanded uncertainty of `size_1`.
     */
    double size_1_uncertainty;
    /**
     * Expanded uncertainty of `size_2`.
     */
    double size_2_uncertainty;
    /**
     * Radius about the feature's middle that the turn is judged at, mm.
     */
    double extent_mm;
} fitw_change;

/**
 * How features are written as STEP. All zero is the default.
 */
typedef struct {
    /**
     * sizeof(fitw_step_options).
     */
    uint32_t struct_size;
    /**
     * 0 or FITW_STEP_FULL.
     */
    uint32_t flags;
    /**
     * FITW_STEP_…; 0: AP242.
     */
    int32_t schema;
    /**
     * 0.
     */
    int32_t reserved;
    /**
     * Name of the assembly, no feature's; empty: "Measured features".
     */
    fitw_str title;
    /**
     * Time stamp of the file, ISO 8601; empty: none, so that equal features give equal files.
     */
    fitw_str date;
    /**
     * When the scan was made, ISO 8601; empty: not said.
     */
    fitw_str scan_date;
    /**
     * Closeness within which two things are one, mm; 0: 1e-6.
     */
    double precision_mm;
    /**
     * Length of the lines that show the machine's axes, mm; 0: 50.
     */
    double axis_length_mm;
} fitw_step_options;

/**
 * What a survey looks for. All zero is the default.
 */
typedef struct {
    /**
     * sizeof(fitw_survey_options).
     */
    uint32_t struct_size;
    /**
     * 0; no flags are defined.
     */
    uint32_t flags;
    /**
     * Primitives that measure less than this across are left out, mm; 0: those of fewer than some forty points.
     */
    double smallest_mm;
} fitw_survey_options;

/**
 * Counts of a survey.
 */
typedef struct {
    /**
     * sizeof(fitw_survey_info), set by the caller.
     */
    uint32_t struct_size;
    /**
     * 0.
     */
    int32_t reserved;
    /**
     * Primitives, see fitw_survey_primitive.
     */
    uint64_t primitive_count;
    /**
     * Holes, see fitw_survey_hole.
     */
    uint64_t hole_count;
    /**
     * Tubes, see fitw_survey_tube_view.
     */
    uint64_t tube_count;
    /**
     * Groups, see fitw_survey_group_view.
     */
    uint64_t group_count;
    /**
     * Points of the scan that belong to no primitive.
     */
    uint64_t unclaimed_count;
} fitw_survey_info;

/**
 * One primitive of a scan. Uncertainties are expanded, coverage factor 2, with noise taken as independent from
 * point to point.
 */
typedef struct {
    /**
     * sizeof(fitw_surveyed), set by the caller.
     */
    uint32_t struct_size;
    /**
     * FITW_KIND_PLANE, _CYLINDER, _CONE, _SPHERE or _TORUS.
     */
    int32_t kind;
    /**
     * FITW_SIDE_…
     */
    int32_t side;
    /**
     * 0.
     */
    int32_t reserved;
    /**
     * Kind and number, such as "cylinder 3": numbers count within a kind, from the largest. Valid until the
     * survey is released.
     */
    fitw_str id;
    /**
     * Its points, edges included, see fitw_survey_ids_view.
     */
    uint64_t point_count;
    /**
     * Primitives that it touches, see fitw_survey_neighbours_view.
     */
    uint64_t neighbour_count;
    /**
     * Area that its points cover, mm².
     */
    double area_mm2;
    /**
     * A point on the surface well away from its edges, mm.
     */
    double at_mm[3];
    /**
     * The fitted shape: this and the next three as in fitw_shape, mm.
     */
    double point_mm[3];
    /**
     * See fitw_shape.
     */
    double direction[3];
    /**
     * See fitw_shape, mm.
     */
    double size_1;
    /**
     * See fitw_shape, mm or rad.
     */
    double size_2;
    /**
     * Uncertainty of the place at `point_mm`: this and the next three as in fitw_uncertainty, mm.
     */
    double position_uncertainty_mm;
    /**
     * Uncertainty of the direction, rad; 0 where there is none.
     */
    double tilt_uncertainty_rad;
    /**
     * Uncertainty of `size_1`; 0 where there is none.
     */
    double size_1_uncertainty;
    /**
     * Uncertainty of `size_2`; 0 where there is none.
     */
    double size_2_uncertainty;
} fitw_surveyed;

/**
 * A round hole: a bore that opens in a flat face, or the rim of one whose wall was not seen. Primitives by number;
 * FITW_SURVEY_NONE for none.
 */
typedef struct {
    /**
     * sizeof(fitw_surveyed_hole), set by the caller.
     */
    uint32_t struct_size;
    /**
     * Its wall; none if that was not seen: then a hole, or a spot that the scanner did not see.
     */
    int32_t wall;
    /**
     * The face it opens in, square to its axis.
     */
    int32_t face;
    /**
     * Its flat bottom, or the face at the other end of a through hole.
     */
    int32_t other_end;
    /**
     * 1 if `other_end` is a face that it opens in, too; else 0.
     */
    int32_t through;
    /**
     * 0.
     */
    int32_t reserved;
    /**
     * Where its axis meets the face (without one: at the wall's end), mm.
     */
    double point_mm[3];
    /**
     * Unit axis, out of the material.
     */
    double axis[3];
    /**
     * Radius, mm; of a rim alone too large by what the scan rounds or loses at edges.
     */
    double radius_mm;
    /**
     * Depth of the wall that was seen, mm; 0 for a rim alone.
     */
    double depth_mm;
} fitw_surveyed_hole;

/**
 * The likeliest datum system: what a person would take, in order of precedence, to be checked against what the part
 * sits on. Primitives by number; FITW_SURVEY_NONE for none.
 */
typedef struct {
    /**
     * sizeof(fitw_proposed_datum), set by the caller.
     */
    uint32_t struct_size;
    /**
     * The largest plane.
     */
    int32_t primary;
    /**
     * The largest plane near square to it, else the largest cylinder whose axis is near parallel to its face.
     */
    int32_t secondary;
    /**
     * The largest plane near square to both.
     */
    int32_t tertiary;
    /**
     * Number of the hole in the primary that sets the origin where there is no tertiary plane.
     */
    int32_t hole;
    /**
     * 0.
     */
    int32_t reserved;
} fitw_proposed_datum;

/**
 * How a part is read. All zero is the default.
 */
typedef struct {
    /**
     * sizeof(fitw_part_options).
     */
    uint32_t struct_size;
    /**
     * 0; no flags are defined.
     */
    uint32_t flags;
    /**
     * FITW_UNIT_… of a mesh file; STEP, GLB and 3MF name their own. 0: mm.
     */
    int32_t unit;
    /**
     * 0.
     */
    int32_t reserved;
    /**
     * Largest distance of a STEP part's mesh from its exact surfaces, mm, 1e-5 to 100; 0: 0.01.
     */
    double chord_error_mm;
    /**
     * Since 1.3: id of a loaded plug-in's importer that is to read it, see fitw_importer_describe; empty: the
     * library itself.
     */
    fitw_str reader;
} fitw_part_options;

/**
 * What a part consists of.
 */
typedef struct {
    /**
     * sizeof(fitw_part_info), set by the caller.
     */
    uint32_t struct_size;
    /**
     * 1 if it is a closed solid, which the checks need; else 0.
     */
    int32_t closed;
    /**
     * Separate closed solids.
     */
    uint64_t solid_count;
    /**
     * Corners of its mesh.
     */
    uint64_t point_count;
    /**
     * Triangles of its mesh.
     */
    uint64_t triangle_count;
    /**
     * Analytic faces, see fitw_part_face; 0 for a mesh.
     */
    uint64_t face_count;
    /**
     * Round holes known, see fitw_part_hole.
     */
    uint64_t hole_count;
    /**
     * Notes, see fitw_part_note.
     */
    uint64_t note_count;
    /**
     * Enclosed volume, mm³; positive when the triangles face outwards.
     */
    double volume_mm3;
    /**
     * Area of all triangles, mm².
     */
    double area_mm2;
    /**
     * Smallest coordinates, mm.
     */
    double low_mm[3];
    /**
     * Largest coordinates, mm.
     */
    double high_mm[3];
    /**
     * Largest distance of the mesh from the exact surfaces, mm; 0 for a mesh.
     */
    double chord_error_mm;
    /**
     * "AP203", "AP214", "AP242", "STL", "PLY", "OBJ", "GLB", "3MF" or "arrays"; valid until the part is released.
     */
    fitw_str schema;
} fitw_part_info;

/**
 * A round hole of the part.
 */
typedef struct {
    /**
     * sizeof(fitw_part_hole_info), set by the caller.
     */
    uint32_t struct_size;
    /**
     * 0.
     */
    int32_t reserved;
    /**
     * Middle of the axis inside the material, mm.
     */
    double point_mm[3];
    /**
     * Unit axis.
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
} fitw_part_hole_info;

/**
 * A body of a mesh file: exactly one of `scan`, `part` and `feature` is given, the others are NULL.
 */
typedef struct {
    /**
     * A scan.
     */
    const fitw_scan *scan;
    /**
     * A part.
     */
    const fitw_part *part;
    /**
     * A feature with faces, which become triangles.
     */
    const fitw_feature *feature;
    /**
     * Name, unique in the file.
     */
    fitw_str name;
    /**
     * Moves the body; NULL: it stays where it is.
     */
    const fitw_pose *pose;
    /**
     * 0xRRGGBB (sRGB).
     */
    uint32_t colour;
    /**
     * 1 if `colour` counts, 0 for the reader's own.
     */
    int32_t has_colour;
    /**
     * Largest distance of a feature's triangles from its faces, mm; 0: 0.05.
     */
    double chord_error_mm;
} fitw_body;

/**
 * A scan that a part is held against.
 */
typedef struct {
    /**
     * The scan.
     */
    const fitw_scan *scan;
    /**
     * Name for findings.
     */
    fitw_str name;
    /**
     * Takes its coordinates to machine coordinates.
     */
    fitw_pose machine_from_scan;
    /**
     * How it was joined to the first scan, for its uncertainty; NULL for the first.
     */
    const fitw_join *join;
} fitw_scene_scan;

/**
 * A feature with its own clearance, seat or bolt.
 */
typedef struct {
    /**
     * The feature, machine coordinates.
     */
    const fitw_feature *feature;
    /**
     * All points of its surface, edges included, for what belongs to it in its scan; NULL for none.
     */
    const fitw_region *surface;
    /**
     * Place in `scans` of the scan that `surface` is of; -1 for none.
     */
    int32_t scan;
    /**
     * 1 if the part is meant to touch it, else 0.
     */
    int32_t is_seat;
    /**
     * Clearance asked for it, mm; 0: the general one; negative: none.
     */
    double keep_clear_mm;
    /**
     * Bolt that goes into it, such as "M8"; empty: none.
     */
    fitw_str bolt;
} fitw_scene_feature;

/**
 * Where the part is bolted on.
 */
typedef struct {
    /**
     * Place in `features` of the hole.
     */
    int32_t hole;
    /**
     * Place in `features` of the face the part sits on there; -1 for none.
     */
    int32_t seat;
    /**
     * Where the part's hole is, machine coordinates, mm.
     */
    double near_mm[3];
} fitw_mount;

/**
 * What is asked of the space for tools at the bolts. Sizes of tools left at 0 are by the bolt, from memory of
 * hand tools. Since 1.4.
 */
typedef struct {
    /**
     * sizeof(fitw_tool_limits).
     */
    uint32_t struct_size;
    /**
     * FITW_TOOLS_…
     */
    uint32_t flags;
    /**
     * Air round a tool, mm; 0: 1; negative: none.
     */
    double air_mm;
    /**
     * Length of the extension on the socket, mm; 0: 50; negative: none.
     */
    double extension_mm;
    /**
     * Outside diameter of the socket, mm; 0: by the bolt.
     */
    double socket_diameter_mm;
    /**
     * Length of the socket, mm; 0: by the bolt.
     */
    double socket_length_mm;
    /**
     * Least free swing of the spanner, rad; 0: 30 degrees.
     */
    double swing_rad;
    /**
     * Length of every bolt under its head, mm; 0: the part's hole, the washer and one diameter.
     */
    double bolt_length_mm;
    /**
     * Length of each mount's bolt under its head, mm, in the order of `mounts`, as many; 0: as bolt_length_mm.
     * NULL: all as bolt_length_mm. Since 1.5.
     */
    const double *bolt_lengths_mm;
} fitw_tool_limits;

/**
 * What is asked of the way that the part is brought to its seat. Since 1.4.
 */
typedef struct {
    /**
     * sizeof(fitw_insertion_limits).
     */
    uint32_t struct_size;
    /**
     * 0; no flags are defined.
     */
    uint32_t flags;
    /**
     * Air all along the way, mm; 0: 1; negative: none.
     */
    double clearance_mm;
    /**
     * Straight directions tried; 0: 1000.
     */
    uint32_t directions;
    /**
     * Moves tried for a way with turns if none is straight; 0: 2000.
     */
    uint32_t tries;
    /**
     * Seed of the random moves; 0: 1.
     */
    uint64_t seed;
    /**
     * Places in `features` of what is taken off for it; may be NULL.
     */
    const uint32_t *without;
    /**
     * Number of them.
     */
    size_t without_count;
    /**
     * Places in `other_parts` of what is put in after it; may be NULL. Since 1.5.
     */
    const uint32_t *without_parts;
    /**
     * Number of them.
     */
    size_t without_part_count;
} fitw_insertion_limits;

/**
 * One movement between limits; 0 is where it was scanned. Machine coordinates.
 */
typedef struct {
    /**
     * FITW_MOVE_….
     */
    int32_t kind;
    /**
     * Place in `features` of the one whose axis (of a plane, to shift along: its normal) it goes by, and
     * whose uncertainty counts; -1: by `point_mm` and `direction`.
     */
    int32_t feature;
    /**
     * A point on the axis, mm.
     */
    double point_mm[3];
    /**
     * Direction of any length but zero.
     */
    double direction[3];
    /**
     * Lower limit, rad or mm.
     */
    double from;
    /**
     * Upper limit.
     */
    double to;
} fitw_scene_move;

/**
 * Something that moves while the part stays. Seats and mounting holes never do: the part would move with
 * them.
 */
typedef struct {
    /**
     * Name for its finding.
     */
    fitw_str name;
    /**
     * FITW_MOVING_….
     */
    int32_t moving;
    /**
     * Place in `features`, `scans` or `other_parts` of what moves.
     */
    int32_t place;
    /**
     * Lower corner of the box, or the sphere's centre, of points at rest, mm.
     */
    double low_mm[3];
    /**
     * Upper corner of the box; its first is the sphere's radius.
     */
    double high_mm[3];
    /**
     * Clearance asked for, mm; 0: that of the feature or other part, else the general one; negative: none.
     */
    double clearance_mm;
    /**
     * Movements, the first acting first; one to four. Their axes and directions stand still.
     */
    const fitw_scene_move *moves;
    /**
     * Number of movements.
     */
    size_t move_count;
    /**
     * Stride of moves.
     */
    size_t move_stride;
} fitw_scene_motion;

/**
 * Change of a body's temperature.
 */
typedef struct {
    /**
     * Coefficient of linear expansion, 1/K.
     */
    double expansion;
    /**
     * Half the range that it is known to lie in, 1/K.
     */
    double expansion_within;
    /**
     * Temperature before, °C: of the machine, that of the scan; of the part, 20 (ISO 1).
     */
    double from_celsius;
    /**
     * Temperature after, °C.
     */
    double to_celsius;
    /**
     * Half the range that it is known to lie in, K.
     */
    double to_within;
} fitw_warming;

/**
 * What machine and part are warmed to. Both grow evenly from one point that stays.
 */
typedef struct {
    /**
     * sizeof(fitw_temperature).
     */
    uint32_t struct_size;
    /**
     * 0 or FITW_TEMPERATURE_FIXED.
     */
    uint32_t flags;
    /**
     * The machine.
     */
    fitw_warming machine;
    /**
     * The part.
     */
    fitw_warming part;
    /**
     * The point that stays, machine coordinates, mm; else where the first mount's bolt passes its seat.
     */
    double fixed_mm[3];
} fitw_temperature;

/**
 * Another designed part that is in the machine: a guard, a sensor. Since 1.5.
 */
typedef struct {
    /**
     * The part, machine coordinates, a closed solid.
     */
    const fitw_part *part;
    /**
     * Name for findings.
     */
    fitw_str name;
    /**
     * Clearance asked for it, mm; 0: the general one; negative: none.
     */
    double keep_clear_mm;
    /**
     * 1 if the part is meant to touch it (only overlap is a fail then, no clearance is asked), else 0.
     */
    int32_t touches;
    /**
     * 0.
     */
    int32_t reserved;
} fitw_other_part;

/**
 * What a part is held against. Strides in bytes from one to the next; 0: side by side.
 */
typedef struct {
    /**
     * sizeof(fitw_scene).
     */
    uint32_t struct_size;
    /**
     * 0; no flags are defined.
     */
    uint32_t flags;
    /**
     * The part, machine coordinates, a closed solid.
     */
    const fitw_part *part;
    /**
     * Scans; overlapping ones are fine.
     */
    const fitw_scene_scan *scans;
    /**
     * Number of scans.
     */
    size_t scan_count;
    /**
     * Stride of scans.
     */
    size_t scan_stride;
    /**
     * Features; may be NULL.
     */
    const fitw_scene_feature *features;
    /**
     * Number of features.
     */
    size_t feature_count;
    /**
     * Stride of features.
     */
    size_t feature_stride;
    /**
     * Mounts; may be NULL.
     */
    const fitw_mount *mounts;
    /**
     * Number of mounts.
     */
    size_t mount_count;
    /**
     * Stride of mounts.
     */
    size_t mount_stride;
    /**
     * The datum system, for the uncertainty of the machine's frame; may be NULL.
     */
    const fitw_datum *datum;
    /**
     * Least air everywhere that is not a seat, mm; 0: 3; negative: none asked.
     */
    double clearance_mm;
    /**
     * Largest gap or overlap at a seat that counts as seated, mm; 0: 0.2.
     */
    double seat_tolerance_mm;
    /**
     * How far a surface may go on unseen beyond a scan's border, mm; 0: 5.
     */
    double unseen_reach_mm;
    /**
     * What each scan's maker states of its errors of length, in the order of the scans, as many; counts
     * from the machine's origin. NULL: nothing is stated.
     */
    const fitw_length_error *length_errors;
    /**
     * Stride of length_errors.
     */
    size_t length_error_stride;
    /**
     * What is asked of the space for tools at the bolts; NULL: nothing. Since 1.4.
     */
    const fitw_tool_limits *tools;
    /**
     * What is asked of the way of the part to its seat; NULL: nothing. Since 1.4.
     */
    const fitw_insertion_limits *insertion;
    /**
     * What moves while the part stays; may be NULL. Since 1.4.
     */
    const fitw_scene_motion *motions;
    /**
     * Number of motions.
     */
    size_t motion_count;
    /**
     * Stride of motions.
     */
    size_t motion_stride;
    /**
     * What machine and part are warmed to; NULL: no check at temperature. Since 1.4.
     */
    const fitw_temperature *temperature;
    /**
     * Further designed parts that are in the machine; may be NULL. Since 1.5.
     */
    const fitw_other_part *other_parts;
    /**
     * Number of other parts.
     */
    size_t other_part_count;
    /**
     * Stride of other_parts.
     */
    size_t other_part_stride;
} fitw_scene;

/**
 * Answer of one check. Numbers that there are none of are NaN. Texts are valid until the check is released.
 */
typedef struct {
    /**
     * sizeof(fitw_finding), set by the caller.
     */
    uint32_t struct_size;
    /**
     * FITW_CHECK_…; 0 for a kind that has no number yet, see `kind_name`.
     */
    int32_t kind;
    /**
     * FITW_VERDICT_…
     */
    int32_t verdict;
    /**
     * 0.
     */
    int32_t reserved;
    /**
     * Measured value, mm (see `measure`): clearance, margin, or depth of an interference as a positive number.
     */
    double value_mm;
    /**
     * Its expanded uncertainty, coverage factor 2, mm.
     */
    double uncertainty_mm;
    /**
     * Limit that it is held against, mm.
     */
    double limit_mm;
    /**
     * Witness point on the part, machine coordinates, mm.
     */
    double at_mm[3];
    /**
     * Witness point on the scan or the other part, machine coordinates, mm.
     */
    double to_mm[3];
    /**
     * Longest side of the box round the place, mm.
     */
    double extent_mm;
    /**
     * Scan points that speak for it; -1 if not counted.
     */
    int64_t points;
    /**
     * Kind as in result.json.
     */
    fitw_str kind_name;
    /**
     * Feature or part of the scan that it is about.
     */
    fitw_str name;
    /**
     * One sentence for people.
     */
    fitw_str detail;
    /**
     * What would decide or mend it; empty when passed.
     */
    fitw_str remedy;
    /**
     * FITW_MEASURE_… of value, uncertainty and limit: what is not a length is in its own unit, not mm.
     */
    int32_t measure;
    /**
     * 0.
     */
    int32_t reserved_2;
    /**
     * Further numbers, see fitw_check_number.
     */
    size_t number_count;
    /**
     * Shares of the uncertainty, see fitw_check_share; 0 where it was not split.
     */
    size_t share_count;
} fitw_finding;

/**
 * A further number of a finding.
 */
typedef struct {
    /**
     * sizeof(fitw_finding_number), set by the caller.
     */
    uint32_t struct_size;
    /**
     * FITW_MEASURE_…
     */
    int32_t measure;
    /**
     * The number: mm, rad, mm², mm³, or as it is.
     */
    double value;
    /**
     * Name as in result.json; valid until the check is released.
     */
    fitw_str name;
} fitw_finding_number;

/**
 * What an uncertainty has from one cause.
 */
typedef struct {
    /**
     * sizeof(fitw_finding_share), set by the caller.
     */
    uint32_t struct_size;
    /**
     * FITW_MEASURE_… of the finding's value.
     */
    int32_t measure;
    /**
     * Standard deviation; shares add up as squares, doubled they are the expanded uncertainty.
     */
    double deviation;
    /**
     * Cause as in result.json; valid until the check is released.
     */
    fitw_str cause;
} fitw_finding_share;

/**
 * A scan of the finished part.
 */
typedef struct {
    /**
     * sizeof(fitw_made).
     */
    uint32_t struct_size;
    /**
     * FITW_LAID_ON_…; 0: the whole model.
     */
    int32_t laid_on;
    /**
     * The scan, in coordinates of its own.
     */
    const fitw_scan *scan;
    /**
     * Where it lies about, from its coordinates to the model's; NULL: looked for from any pose.
     */
    const fitw_pose *start;
    /**
     * Largest deviation from the model that is admitted, mm; 0: none asked.
     */
    double tolerance_mm;
} fitw_made;

/**
 * What a run found, in short.
 */
typedef struct {
    /**
     * sizeof(fitw_outcome_info), set by the caller.
     */
    uint32_t struct_size;
    /**
     * FITW_VERDICT_…, the worst of all checks.
     */
    int32_t verdict;
    /**
     * Scans.
     */
    uint64_t scan_count;
    /**
     * Features, see fitw_outcome_feature.
     */
    uint64_t feature_count;
    /**
     * Findings, see fitw_outcome_check.
     */
    uint64_t finding_count;
    /**
     * Takes coordinates of the first scan to machine coordinates.
     */
    fitw_pose machine_from_scan;
} fitw_outcome_info;

/**
 * How plug-ins are loaded. All zero is the default: each in a worker process.
 */
typedef struct {
    /**
     * sizeof(fitw_plugin_options).
     */
    uint32_t struct_size;
    /**
     * 1: the plug-ins of this folder run inside this process; 0: each in a worker process.
     */
    int32_t trust;
    /**
     * Path of the program fitwright-worker; empty: beside this program.
     */
    fitw_str worker;
    /**
     * Longest call of a plug-in in a worker, seconds, up to 86400; 0: 60.
     */
    double time_limit_s;
    /**
     * Most memory of a worker, bytes, 64 MiB to 1 TiB; 0: 4 GiB.
     */
    uint64_t memory_limit_bytes;
} fitw_plugin_options;

/**
 * A plug-in that is loaded. Its texts are valid until the context is released.
 */
typedef struct {
    /**
     * sizeof(fitw_plugin_info), set by the caller.
     */
    uint32_t struct_size;
    /**
     * 1 if it runs inside this process, 0 if in a worker.
     */
    int32_t trusted;
    /**
     * Unique id, such as "acme.studs".
     */
    fitw_str id;
    /**
     * One line for people.
     */
    fitw_str title;
    /**
     * The plug-in's own version.
     */
    fitw_str version;
    /**
     * Licence (SPDX).
     */
    fitw_str licence;
    /**
     * Where it is.
     */
    fitw_str folder;
    /**
     * Its fitters, which fitw_fitter_describe tells of too.
     */
    uint64_t fitter_count;
} fitw_plugin_info;

/**
 * A plug-in that was refused. Its texts are valid until the context is released.
 */
typedef struct {
    /**
     * sizeof(fitw_refusal), set by the caller.
     */
    uint32_t struct_size;
    /**
     * FITW_E_…
     */
    int32_t status;
    /**
     * Where it is.
     */
    fitw_str folder;
    /**
     * Why, and what would help.
     */
    fitw_str reason;
} fitw_refusal;

/**
 * An importer of a plug-in: it reads parts of formats that the library does not, or with another kernel. Its
 * texts are valid until the context is released.
 */
typedef struct {
    /**
     * sizeof(fitw_importer_info), set by the caller.
     */
    uint32_t struct_size;
    /**
     * 0.
     */
    int32_t reserved;
    /**
     * Unique id, such as "occt.step", for fitw_part_options.
     */
    fitw_str id;
    /**
     * One line for people.
     */
    fitw_str title;
    /**
     * Extensions of the files it reads, lower case, with a blank between them.
     */
    fitw_str extensions;
} fitw_importer_info;

#ifdef __cplusplus
extern "C" {
#endif // __cplusplus

/* ---- VERSION --------------------------------------------------------------------------------------------- */

/**
 * The interface of the library that is loaded: major number times 65536 plus minor number.
 *
 * A program may go on if the major number is its own FITW_ABI_MAJOR and the minor one is not less
 * than its own FITW_ABI_MINOR: FITW_ABI_FITS. [any-thread]
 */
uint32_t fitw_abi_version(void);

/**
 * Version of the engine, such as "0.1.0"; `out` stays valid for ever. [any-thread]
 */
fitw_status fitw_version_text(fitw_str *out);

/**
 * How the library was built: engine, interface, compiler, target; one line for reports of defects.
 * `out` stays valid for ever. [any-thread]
 */
fitw_status fitw_build_text(fitw_str *out);

/**
 * Whether this library has a feature: writes 1 or 0. Known are "step", "job", "borrowed-scan",
 * "group-fit", "noise-model", "length-error", "plug-in", "mesh-out", "survey".
 *
 * The names of later versions may be asked for too. Error: FITW_E_ARGUMENT. [any-thread]
 */
fitw_status fitw_feature_known(fitw_str name, int32_t *out);

/**
 * Name of a status, such as "FITW_E_IO"; "unknown status" for a number that this library does not
 * return. `out` stays valid for ever. Error: FITW_E_ARGUMENT for NULL. [any-thread]
 */
fitw_status fitw_status_name(fitw_status status, fitw_str *out);

/* ---- TEXTS ----------------------------------------------------------------------------------------------- */

/**
 * The bytes of a text; valid until it is released.
 *
 * Errors: FITW_E_HANDLE, FITW_E_ARGUMENT. [any-thread]
 */
fitw_status fitw_text_view(const fitw_context *context, const fitw_text *text, fitw_str *out);

/**
 * Releases a text. NULL is allowed; releasing twice is FITW_E_HANDLE. [any-thread]
 */
fitw_status fitw_text_release(fitw_text *text);

/* ---- CONTEXT --------------------------------------------------------------------------------------------- */

/**
 * Makes a context; release it with fitw_context_release. `options` may be NULL.
 *
 * Errors: FITW_E_ARGUMENT (NULL `out`, threads out of range, unknown flags), FITW_E_UNSUPPORTED,
 * FITW_E_INTERNAL if the system refuses the threads. [any-thread]
 */
fitw_status fitw_context_create(const fitw_context_options *options, fitw_context **out);

/**
 * Releases a context. Calls that run with it on other threads end undisturbed. NULL is allowed; releasing
 * twice is FITW_E_HANDLE. [any-thread]
 */
fitw_status fitw_context_release(fitw_context *context);

/**
 * Asks running and later work of a context to stop: it ends with FITW_E_CANCELLED as soon as it can.
 * Holds until fitw_context_resume. [any-thread]
 */
fitw_status fitw_context_cancel(const fitw_context *context);

/**
 * Takes the wish to stop back, so that the context can be used again. [any-thread]
 */
fitw_status fitw_context_resume(const fitw_context *context);

/**
 * Bytes of scans and parts that count against the context's memory limit now. [any-thread]
 */
fitw_status fitw_context_memory(const fitw_context *context, uint64_t *bytes);

/**
 * Status of the context's last call: FITW_OK if it succeeded. Every call with the context clears it at
 * its start, but for this one, the two below and cancel, resume. [any-thread]
 */
fitw_status fitw_context_error_status(const fitw_context *context, fitw_status *out);

/**
 * Message of the last error: one sentence with what was found and what is allowed; empty after success.
 *
 * Copies as much as fits into `capacity` bytes, always with a NUL at its end; never fails for want of
 * room. `need` (may be NULL) gets the bytes that all of it takes with its NUL. [any-thread]
 */
fitw_status fitw_context_error_message(const fitw_context *context,
                                       char *buffer,
                                       size_t capacity,
                                       size_t *need);

/**
 * Place of the last error: the function, and the argument, file or line if there is one, as in
 * "fitw_scan_read: front.ply: line 12". Buffer as above. [any-thread]
 */
fitw_status fitw_context_error_place(const fitw_context *context,
                                     char *buffer,
                                     size_t capacity,
                                     size_t *need);

/* ---- SCAN ------------------------------------------------------------------------------------------------ */

/**
 * Makes a scan of the host's arrays; release it with fitw_scan_release.
 *
 * Errors: FITW_E_ARGUMENT for no points, a coordinate that is not finite or over 1e15 mm, a triangle that
 * names a point past the last, NULL or misaligned arrays, counts that no memory holds; FITW_E_LIMIT over
 * the context's memory limit; FITW_E_CANCELLED. [any-thread]
 */
fitw_status fitw_scan_create(const fitw_context *context, const fitw_mesh *mesh, fitw_scan **out);

/**
 * Reads a scan: STL, PLY, OBJ, GLB, 3MF, or points as E57 or text, told apart by extension and content.
 *
 * `path` as the system takes it, UTF-8. `unit` is the FITW_UNIT_… of the file's coordinates; GLB, 3MF and
 * E57 name their own. `options` may be NULL. Progress is reported. Release the scan with fitw_scan_release.
 * Errors: FITW_E_IO, FITW_E_FORMAT with line or byte, FITW_E_UNKNOWN_FORMAT, FITW_E_UNSUPPORTED,
 * FITW_E_LIMIT, FITW_E_CANCELLED, FITW_E_ARGUMENT. [any-thread]
 */
fitw_status fitw_scan_read(const fitw_context *context,
                           fitw_str path,
                           int32_t unit,
                           const fitw_scan_options *options,
                           fitw_scan **out);

/**
 * The scan moved by a rigid motion, a scan of its own. Triangles are shared, points copied.
 *
 * Errors: FITW_E_ARGUMENT for a pose that is no rigid motion; FITW_E_LIMIT. [any-thread]
 */
fitw_status fitw_scan_move(const fitw_context *context,
                           const fitw_scan *scan,
                           const fitw_pose *pose,
                           fitw_scan **out);

/**
 * Releases a scan; what was made of it keeps what it needs. NULL is allowed; releasing twice is
 * FITW_E_HANDLE. [any-thread]
 */
fitw_status fitw_scan_release(fitw_scan *scan);

/**
 * Counts of a scan. Errors: FITW_E_HANDLE, FITW_E_ARGUMENT. [any-thread]
 */
fitw_status fitw_scan_describe(const fitw_context *context, const fitw_scan *scan, fitw_scan_info *out);

/**
 * What was dropped, ignored or healed when the scan was read, one sentence each; `index` from 0. The text
 * is valid until the scan is released. Error: FITW_E_ARGUMENT past the last. [any-thread]
 */
fitw_status fitw_scan_note(const fitw_context *context, const fitw_scan *scan, size_t index, fitw_str *out);

/**
 * The points: `*xyz_mm` gets x, y, z of each side by side, `*count` the number of points. Not a copy;
 * valid until the scan is released. [any-thread]
 */
fitw_status fitw_scan_points_view(const fitw_context *context,
                                  const fitw_scan *scan,
                                  const double **xyz_mm,
                                  size_t *count);

/**
 * The triangles: three point numbers each, `*count` the number of triangles. Not a copy; NULL for a point
 * cloud; valid until the scan is released. [any-thread]
 */
fitw_status fitw_scan_triangles_view(const fitw_context *context,
                                     const fitw_scan *scan,
                                     const uint32_t **corners,
                                     size_t *count);

/**
 * Unit normal of each point: given, or from the triangles, or from the neighbours; zero where undefined.
 * Computed when first asked for. Valid until the scan is released. [any-thread]
 */
fitw_status fitw_scan_normals_view(const fitw_context *context,
                                   const fitw_scan *scan,
                                   const double **xyz,
                                   size_t *count);

/**
 * Standard deviation of the points normal to the surface, mm, estimated from the scan alone when first
 * asked for; 0 for a scan too small to tell. [any-thread]
 */
fitw_status fitw_scan_noise(const fitw_context *context, const fitw_scan *scan, double *noise_mm);

/**
 * Median spacing of neighbouring points, mm, computed when first asked for. [any-thread]
 */
fitw_status fitw_scan_resolution(const fitw_context *context, const fitw_scan *scan, double *resolution_mm);

/**
 * The scan's point nearest to a place (three numbers, mm): its number and distance. Either result may be
 * NULL. Error: FITW_E_ARGUMENT for a place that is not finite. [any-thread]
 */
fitw_status fitw_scan_nearest(const fitw_context *context,
                              const fitw_scan *scan,
                              const double *place_mm,
                              uint32_t *id,
                              double *distance_mm);

/* ---- SHAPES ---------------------------------------------------------------------------------------------- */

/**
 * Distance of each of `count` points from a shape, mm, into `distances_mm` (`count` doubles):
 * signed for surfaces, positive on the side their normal points to (plane) or outside; for curves unsigned.
 *
 * Points are double, mm, x, y, z side by side; `stride` in bytes from point to point, 0: side by side.
 * Errors: FITW_E_ARGUMENT. [any-thread]
 */
fitw_status fitw_shape_distances(const fitw_context *context,
                                 const fitw_shape *shape,
                                 const double *points_mm,
                                 size_t count,
                                 size_t stride,
                                 double *distances_mm);

/* ---- REGION ---------------------------------------------------------------------------------------------- */

/**
 * Grows a region from a pick (three numbers, mm, near the surface) along a surface of a kind:
 * FITW_KIND_PLANE, _SPHERE, _CYLINDER, _CONE, _TORUS. `options` may be NULL. Release the region with
 * fitw_region_release.
 *
 * Errors: FITW_E_PICK_OFF_SURFACE, FITW_E_EMPTY_REGION if no such surface is there, FITW_E_ARGUMENT,
 * FITW_E_CANCELLED. [any-thread]
 */
fitw_status fitw_region_grow(const fitw_context *context,
                             const fitw_scan *scan,
                             const double *pick_mm,
                             int32_t kind,
                             const fitw_grow_options *options,
                             fitw_region **out);

/**
 * All points of a scan. [any-thread]
 */
fitw_status fitw_region_all(const fitw_context *context, const fitw_scan *scan, fitw_region **out);

/**
 * The points of given numbers, in any order; doubles count once.
 *
 * `ids` are `count` numbers side by side, read during the call. Error: FITW_E_ARGUMENT for a number past
 * the scan's last point. [any-thread]
 */
fitw_status fitw_region_from_ids(const fitw_context *context,
                                 const fitw_scan *scan,
                                 const uint32_t *ids,
                                 size_t count,
                                 fitw_region **out);

/**
 * The points in a box from `low_mm` to `high_mm` (three numbers each, mm), along the axes of a frame:
 * `frame_from_scan` takes scan coordinates to those of the box; NULL: the scan's own axes.
 *
 * Errors: FITW_E_EMPTY_REGION, FITW_E_ARGUMENT. [any-thread]
 */
fitw_status fitw_region_in_box(const fitw_context *context,
                               const fitw_scan *scan,
                               const fitw_pose *frame_from_scan,
                               const double *low_mm,
                               const double *high_mm,
                               fitw_region **out);

/**
 * The points in a sphere; centre three numbers, mm, scan coordinates; radius over 0, mm.
 *
 * Errors: FITW_E_EMPTY_REGION, FITW_E_ARGUMENT. [any-thread]
 */
fitw_status fitw_region_in_sphere(const fitw_context *context,
                                  const fitw_scan *scan,
                                  const double *centre_mm,
                                  double radius_mm,
                                  fitw_region **out);

/**
 * The points within a distance (mm, over 0) of a shape in scan coordinates.
 *
 * Errors: FITW_E_EMPTY_REGION, FITW_E_ARGUMENT. [any-thread]
 */
fitw_status fitw_region_near_shape(const fitw_context *context,
                                   const fitw_scan *scan,
                                   const fitw_shape *shape,
                                   double within_mm,
                                   fitw_region **out);

/**
 * The region without its points nearer than `distance_mm` to an edge of it, measured along the surface.
 * 0: twice the scan's resolution, or less where that would leave under half of the points.
 *
 * `used_mm` (may be NULL) gets the distance that was used. Errors: FITW_E_EMPTY_REGION if nothing is left,
 * FITW_E_ARGUMENT for a negative distance. [any-thread]
 */
fitw_status fitw_region_trim(const fitw_context *context,
                             const fitw_region *region,
                             double distance_mm,
                             fitw_region **out,
                             double *used_mm);

/**
 * The numbers of the region's points, ascending. Not a copy; valid until the region is released.
 * [any-thread]
 */
fitw_status fitw_region_ids_view(const fitw_context *context,
                                 const fitw_region *region,
                                 const uint32_t **ids,
                                 size_t *count);

/**
 * Releases a region; its scan stays. NULL is allowed; releasing twice is FITW_E_HANDLE. [any-thread]
 */
fitw_status fitw_region_release(fitw_region *region);

/* ---- FIT ------------------------------------------------------------------------------------------------- */

/**
 * Number of fitters: the built-in ones, then those of the context's plug-ins. [any-thread]
 */
fitw_status fitw_fitter_count(const fitw_context *context, size_t *count);

/**
 * Fitter `index`, from 0; a fitter keeps its place. Error: FITW_E_ARGUMENT past the last. [any-thread]
 */
fitw_status fitw_fitter_describe(const fitw_context *context, size_t index, fitw_fitter_info *out);

/**
 * Number of options of fitter `index`; 0 for a built-in one. Error: FITW_E_ARGUMENT past the last fitter.
 * [any-thread]
 */
fitw_status fitw_fitter_option_count(const fitw_context *context, size_t index, size_t *count);

/**
 * Option `option`, from 0, of fitter `index`. Error: FITW_E_ARGUMENT past the last. [any-thread]
 */
fitw_status fitw_fitter_option(const fitw_context *context,
                               size_t index,
                               size_t option,
                               fitw_option_info *out);

/**
 * Fits to a region's points, with their normals, the region's pick and the scan's noise. `fitter` is an id:
 * "builtin.plane", ".line", ".circle", ".sphere", ".cylinder", ".cone", ".torus", or one of a plug-in that was
 * loaded. `options` may be NULL; a plug-in takes no criterion and no constraints, but options of its own.
 * Release the fit with fitw_fit_release.
 *
 * A poor fit is a fit with a poor quality; errors are FITW_E_UNKNOWN_NAME (fitter), FITW_E_TOO_FEW_POINTS,
 * FITW_E_UNDETERMINED, FITW_E_NOT_CONVERGED, FITW_E_CANCELLED, FITW_E_ARGUMENT (also an option that the fitter
 * does not have or a value out of its limits), and of plug-ins FITW_E_PLUGIN, FITW_E_PLUGIN_REFUSED.
 * [any-thread]
 */
fitw_status fitw_fit_region(const fitw_context *context,
                            fitw_str fitter,
                            const fitw_region *region,
                            const fitw_fit_options *options,
                            fitw_fit **out);

/**
 * Fits to points of the host. As above, but rejected and deciding points are positions in the input.
 * [any-thread]
 */
fitw_status fitw_fit_points(const fitw_context *context,
                            fitw_str fitter,
                            const fitw_points *points,
                            const fitw_fit_options *options,
                            fitw_fit **out);

/**
 * The fitted shape, in the coordinates of the points. [any-thread]
 */
fitw_status fitw_fit_shape(const fitw_context *context, const fitw_fit *fit, fitw_shape *out);

/**
 * Number of parameters of the shape. [any-thread]
 */
fitw_status fitw_fit_parameter_count(const fitw_context *context, const fitw_fit *fit, size_t *count);

/**
 * Parameter `index`, from 0. Error: FITW_E_ARGUMENT past the last. [any-thread]
 */
fitw_status fitw_fit_parameter(const fitw_context *context,
                               const fitw_fit *fit,
                               size_t index,
                               fitw_parameter *out);

/**
 * Parameter by name. Error: FITW_E_UNKNOWN_NAME. [any-thread]
 */
fitw_status fitw_fit_parameter_named(const fitw_context *context,
                                     const fitw_fit *fit,
                                     fitw_str name,
                                     fitw_parameter *out);

/**
 * How good the fit is. [any-thread]
 */
fitw_status fitw_fit_quality(const fitw_context *context, const fitw_fit *fit, fitw_quality *out);

/**
 * Covariance of the shape about a place (three numbers, mm; NULL: about a place of the data, the best one
 * to keep it at). [any-thread]
 */
fitw_status fitw_fit_covariance(const fitw_context *context,
                                const fitw_fit *fit,
                                const double *about_mm,
                                fitw_covariance *out);

/**
 * Expanded uncertainties (coverage factor 2) at a place on the shape (three numbers, mm; NULL: at the
 * shape's own point). [any-thread]
 */
fitw_status fitw_fit_uncertainty(const fitw_context *context,
                                 const fitw_fit *fit,
                                 const double *place_mm,
                                 fitw_uncertainty *out);

/**
 * Points that were left out as gross outliers, ascending: numbers of the scan's points for a region, else
 * positions in the input. NULL if none. Valid until the fit is released. [any-thread]
 */
fitw_status fitw_fit_rejected_view(const fitw_context *context,
                                   const fitw_fit *fit,
                                   const uint32_t **ids,
                                   size_t *count);

/**
 * Points that decide the shape of another criterion than least squares; as above. [any-thread]
 */
fitw_status fitw_fit_contacts_view(const fitw_context *context,
                                   const fitw_fit *fit,
                                   const uint32_t **ids,
                                   size_t *count);

/**
 * Where those points are: x, y, z side by side, mm, `*count` places. NULL if none. Valid until the fit is
 * released. [any-thread]
 */
fitw_status fitw_fit_contact_points_view(const fitw_context *context,
                                         const fitw_fit *fit,
                                         const double **xyz_mm,
                                         size_t *count);

/**
 * How the shape stands against neighbour `index`, from 0. Error: FITW_E_ARGUMENT past the last.
 * [any-thread]
 */
fitw_status fitw_fit_evidence(const fitw_context *context,
                              const fitw_fit *fit,
                              size_t index,
                              fitw_evidence *out);

/**
 * What the constraints cost. [any-thread]
 */
fitw_status fitw_fit_constraint_cost(const fitw_context *context,
                                     const fitw_fit *fit,
                                     fitw_constraint_cost *out);

/**
 * Number of notes. [any-thread]
 */
fitw_status fitw_fit_note_count(const fitw_context *context, const fitw_fit *fit, size_t *count);

/**
 * What a person should know of the fit, one sentence; `index` from 0. Valid until the fit is released.
 * Error: FITW_E_ARGUMENT past the last. [any-thread]
 */
fitw_status fitw_fit_note(const fitw_context *context, const fitw_fit *fit, size_t index, fitw_str *out);

/**
 * Releases a fit. NULL is allowed; releasing twice is FITW_E_HANDLE. [any-thread]
 */
fitw_status fitw_fit_release(fitw_fit *fit);

/* ---- GROUP ----------------------------------------------------------------------------------------------- */

/**
 * Fits shapes that share an axis, centre, plane or direction, all at once; `relation` is
 * FITW_GROUP_…. Their points are in one frame, 2 to 64 members (FITW_GROUP_PERPENDICULAR: 2).
 *
 * `stride` in bytes from member to member, 0: side by side. `options` may be NULL; a criterion, constraints,
 * a reference or options of plug-ins do not go with a group. `fits` gets `count` fits in the order of the members, each to be
 * released with fitw_fit_release: they obey the relation to rounding. `cost` (may be NULL) gets what the
 * relation cost all of them together. A member that its own points leave open is made up for by the others.
 * Errors: as fitw_fit_region, with the member's number; FITW_E_ARGUMENT for a kind that the relation does
 * not take. [any-thread]
 */
fitw_status fitw_group_fit(const fitw_context *context,
                           const fitw_group_member *members,
                           size_t count,
                           size_t stride,
                           int32_t relation,
                           const fitw_fit_options *options,
                           fitw_fit **fits,
                           fitw_constraint_cost *cost);

/* ---- FEATURE --------------------------------------------------------------------------------------------- */

/**
 * A feature of a fit: the shape bounded by `surface`, all points of its region, edges included.
 * Release it with fitw_feature_release.
 *
 * `name` is not empty. Errors: FITW_E_UNDETERMINED for a free radius on less than 60 degrees of arc (but for
 * a fit of a group), FITW_E_ARGUMENT. [any-thread]
 */
fitw_status fitw_feature_from_fit(const fitw_context *context,
                                  fitw_str name,
                                  const fitw_fit *fit,
                                  const fitw_region *surface,
                                  fitw_feature **out);

/**
 * Finds a round hole in a plane: by its wall if enough of it was seen, else by its rim.
 *
 * `options` are those of the built-in fits; may be NULL. `wall` (may be NULL) gets the region of the wall's points,
 * which may be empty, to be released with fitw_region_release. Errors: FITW_E_UNDETERMINED if neither
 * wall nor rim is seen, FITW_E_CONSTRUCTION if the face is no plane, FITW_E_ARGUMENT, FITW_E_CANCELLED.
 * [any-thread]
 */
fitw_status fitw_feature_find_hole(const fitw_context *context,
                                   const fitw_hole_search *search,
                                   const fitw_fit_options *options,
                                   fitw_feature **out,
                                   fitw_region **wall);

/**
 * The line where two planes meet, or the point where an axis meets a plane. Both features in one frame.
 *
 * Errors: FITW_E_CONSTRUCTION for parallel ones or kinds that have no such intersection. [any-thread]
 */
fitw_status fitw_feature_intersect(const fitw_context *context,
                                   fitw_str name,
                                   const fitw_feature *a,
                                   const fitw_feature *b,
                                   fitw_feature **out);

/**
 * The plane midway between two planes. Both features in one frame.
 *
 * Error: FITW_E_CONSTRUCTION if one is no plane or they are more than 45 degrees from parallel.
 * [any-thread]
 */
fitw_status fitw_feature_midplane(const fitw_context *context,
                                  fitw_str name,
                                  const fitw_feature *a,
                                  const fitw_feature *b,
                                  fitw_feature **out);

/**
 * The feature moved by a rigid motion, such as a datum's machine_from_scan. [any-thread]
 */
fitw_status fitw_feature_move(const fitw_context *context,
                              const fitw_feature *feature,
                              const fitw_pose *pose,
                              fitw_feature **out);

/**
 * A feature of a joined scan in the coordinates of the scan it was joined to, its uncertainty widened by
 * that of the join. [any-thread]
 */
fitw_status fitw_feature_join(const fitw_context *context,
                              const fitw_feature *feature,
                              const fitw_join *join,
                              fitw_feature **out);

/**
 * The feature under another name. [any-thread]
 */
fitw_status fitw_feature_rename(const fitw_context *context,
                                const fitw_feature *feature,
                                fitw_str name,
                                fitw_feature **out);

/**
 * Distance and angle of two features in one frame.
 *
 * Error: FITW_E_CONSTRUCTION for shapes that have none (composites). [any-thread]
 */
fitw_status fitw_feature_relation(const fitw_context *context,
                                  const fitw_feature *a,
                                  const fitw_feature *b,
                                  fitw_relation *out);

/**
 * What the feature is. [any-thread]
 */
fitw_status fitw_feature_describe(const fitw_context *context,
                                  const fitw_feature *feature,
                                  fitw_feature_info *out);

/**
 * The unbounded shape that locates the feature (hole: the cylinder of its wall; point: a sphere of
 * radius 0). [any-thread]
 */
fitw_status fitw_feature_shape(const fitw_context *context, const fitw_feature *feature, fitw_shape *out);

/**
 * Parameter `index` of the shape, from 0. Error: FITW_E_ARGUMENT past the last. [any-thread]
 */
fitw_status fitw_feature_parameter(const fitw_context *context,
                                   const fitw_feature *feature,
                                   size_t index,
                                   fitw_parameter *out);

/**
 * Parameter by name. Error: FITW_E_UNKNOWN_NAME. [any-thread]
 */
fitw_status fitw_feature_parameter_named(const fitw_context *context,
                                         const fitw_feature *feature,
                                         fitw_str name,
                                         fitw_parameter *out);

/**
 * Quality of the feature's fit. Error: FITW_E_CONSTRUCTION for a constructed feature, which has none.
 * [any-thread]
 */
fitw_status fitw_feature_quality(const fitw_context *context, const fitw_feature *feature, fitw_quality *out);

/**
 * Points that decide the feature's shape, where the criterion is another than least squares: x, y, z side by
 * side, mm, `*count` places. NULL if none. Valid until the feature is released. [any-thread]
 */
fitw_status fitw_feature_contact_points_view(const fitw_context *context,
                                             const fitw_feature *feature,
                                             const double **xyz_mm,
                                             size_t *count);

/**
 * How the feature's shape stands against neighbour `index`, from 0. Errors: FITW_E_ARGUMENT past the last,
 * FITW_E_CONSTRUCTION for a constructed feature. [any-thread]
 */
fitw_status fitw_feature_evidence(const fitw_context *context,
                                  const fitw_feature *feature,
                                  size_t index,
                                  fitw_evidence *out);

/**
 * Covariance of the feature about a place (three numbers, mm; NULL: its own). [any-thread]
 */
fitw_status fitw_feature_covariance(const fitw_context *context,
                                    const fitw_feature *feature,
                                    const double *about_mm,
                                    fitw_covariance *out);

/**
 * Expanded uncertainties (coverage factor 2) at a place on the feature (three numbers, mm; NULL: its own
 * point). [any-thread]
 */
fitw_status fitw_feature_uncertainty(const fitw_context *context,
                                     const fitw_feature *feature,
                                     const double *place_mm,
                                     fitw_uncertainty *out);

/**
 * What a person should know of the feature, one sentence; `index` from 0. Valid until the feature is
 * released. Error: FITW_E_ARGUMENT past the last. [any-thread]
 */
fitw_status fitw_feature_note(const fitw_context *context,
                              const fitw_feature *feature,
                              size_t index,
                              fitw_str *out);

/**
 * Releases a feature. NULL is allowed; releasing twice is FITW_E_HANDLE. [any-thread]
 */
fitw_status fitw_feature_release(fitw_feature *feature);

/* ---- TABLE ----------------------------------------------------------------------------------------------- */

/**
 * Column `column`, from 0, of a table among the parameters of a fit (FITW_VALUE_TABLE): `index` is the
 * parameter's. Error: FITW_E_ARGUMENT past the last, or for a parameter that is no table. [any-thread]
 */
fitw_status fitw_fit_table_column(const fitw_context *context,
                                  const fitw_fit *fit,
                                  size_t index,
                                  size_t column,
                                  fitw_column *out);

/**
 * Numbers of a table of a fit, row by row, mm and rad; `*count` of them, rows times columns. NULL if none.
 * Valid until the fit is released. Error: as above. [any-thread]
 */
fitw_status fitw_fit_table_view(const fitw_context *context,
                                const fitw_fit *fit,
                                size_t index,
                                const double **values,
                                size_t *count);

/**
 * Expanded uncertainty (coverage factor 2) of parameter `index` of a fit, from 0: of a place in the direction
 * where it is largest, mm; of a direction its tilt, rad; of a number in its own unit. Of a plug-in's shape it
 * is what the plug-in states.
 *
 * Errors: FITW_E_UNDETERMINED if it is not known, as of a table; FITW_E_ARGUMENT past the last. [any-thread]
 */
fitw_status fitw_fit_parameter_uncertainty(const fitw_context *context,
                                           const fitw_fit *fit,
                                           size_t index,
                                           double *out);

/**
 * As fitw_fit_table_column, of a feature. [any-thread]
 */
fitw_status fitw_feature_table_column(const fitw_context *context,
                                      const fitw_feature *feature,
                                      size_t index,
                                      size_t column,
                                      fitw_column *out);

/**
 * As fitw_fit_table_view, of a feature; valid until the feature is released. [any-thread]
 */
fitw_status fitw_feature_table_view(const fitw_context *context,
                                    const fitw_feature *feature,
                                    size_t index,
                                    const double **values,
                                    size_t *count);

/**
 * As fitw_fit_parameter_uncertainty, of a feature. What a plug-in states does not hold what a join or the
 * scanner's error of length adds; fitw_feature_uncertainty does. [any-thread]
 */
fitw_status fitw_feature_parameter_uncertainty(const fitw_context *context,
                                               const fitw_feature *feature,
                                               size_t index,
                                               double *out);

/**
 * Piece `index` of a feature, from 0 (a hole: wall, rim circle, axis; a plane: its outline; a cylinder: its
 * patch and axis). Error: FITW_E_ARGUMENT past the last. [any-thread]
 */
fitw_status fitw_feature_piece(const fitw_context *context,
                               const fitw_feature *feature,
                               size_t index,
                               fitw_piece *out);

/**
 * Loop of an outline: x, y, z of `*count` points side by side, mm, the first not repeated at the end. Loop 0
 * runs counter-clockwise about the normal, the others are holes and run clockwise. Not a copy; valid until
 * the feature is released. Error: FITW_E_ARGUMENT past the last piece or loop. [any-thread]
 */
fitw_status fitw_feature_piece_loop_view(const fitw_context *context,
                                         const fitw_feature *feature,
                                         size_t piece,
                                         size_t index,
                                         const double **xyz_mm,
                                         size_t *count);

/* ---- NOISE ----------------------------------------------------------------------------------------------- */

/**
 * What fits to surfaces of one scan agree on, and features of such fits: the more surfaces, the
 * better. To be given to the fits of that scan, the same ones again and others, in fitw_fit_options.
 *
 * Two arrays of handles side by side; either may be NULL if its count is 0. Those with too few points to
 * tell add nothing. Release with fitw_noise_release. Error: FITW_E_UNDETERMINED if none tells anything.
 * [any-thread]
 */
fitw_status fitw_noise_pool(const fitw_context *context,
                            const fitw_fit *const *fits,
                            size_t fit_count,
                            const fitw_feature *const *features,
                            size_t feature_count,
                            fitw_noise **out);

/**
 * Noise known to be independent from point to point, as that of a touch probe. [any-thread]
 */
fitw_status fitw_noise_independent(const fitw_context *context, fitw_noise **out);

/**
 * Releases what is known of a noise. NULL is allowed; releasing twice is FITW_E_HANDLE. [any-thread]
 */
fitw_status fitw_noise_release(fitw_noise *noise);

/* ---- LENGTH ERROR ---------------------------------------------------------------------------------------- */

/**
 * Standard deviation that the error makes of a length (mm), mm. Twice it is to be added, in
 * squares, to the uncertainty of a distance between features of one scan. Error: FITW_E_ARGUMENT for parts
 * out of range. [any-thread]
 */
fitw_status fitw_length_error_deviation(const fitw_context *context,
                                        const fitw_length_error *error,
                                        double length_mm,
                                        double *deviation_mm);

/**
 * The feature with the error added to the uncertainty of its sizes (over the diameter) and direction (over
 * its extent), to become a datum or part of a scene. Once only: each call adds it again. Release the new
 * feature with fitw_feature_release. Error: FITW_E_ARGUMENT for parts out of range. [any-thread]
 */
fitw_status fitw_feature_add_length_error(const fitw_context *context,
                                          const fitw_feature *feature,
                                          const fitw_length_error *error,
                                          fitw_feature **out);

/* ---- DATUM SYSTEM ---------------------------------------------------------------------------------------- */

/**
 * A system of one to three datums, the primary first. Release it with fitw_datum_release.
 *
 * `stride` in bytes from one to the next; 0: side by side. Errors: FITW_E_DATUM naming the freedom that is
 * left or the datum that adds nothing, FITW_E_ARGUMENT, FITW_E_HANDLE. [any-thread]
 */
fitw_status fitw_datum_create(const fitw_context *context,
                              const fitw_datum_feature *datums,
                              size_t count,
                              size_t stride,
                              fitw_datum **out);

/**
 * machine_from_scan: takes scan coordinates to machine coordinates. [any-thread]
 */
fitw_status fitw_datum_pose(const fitw_context *context, const fitw_datum *datum, fitw_pose *out);

/**
 * Covariance of the frame as a motion of it about a place in machine coordinates (three numbers, mm; NULL:
 * the machine's origin). [any-thread]
 */
fitw_status fitw_datum_covariance(const fitw_context *context,
                                  const fitw_datum *datum,
                                  const double *about_mm,
                                  fitw_covariance *out);

/**
 * Counts of a datum system. [any-thread]
 */
fitw_status fitw_datum_describe(const fitw_context *context, const fitw_datum *datum, fitw_datum_info *out);

/**
 * Angle between two datum features; `index` from 0. Error: FITW_E_ARGUMENT past the last. [any-thread]
 */
fitw_status fitw_datum_squareness(const fitw_context *context,
                                  const fitw_datum *datum,
                                  size_t index,
                                  fitw_squareness *out);

/**
 * What datum `index` took, one sentence; valid until the datum system is released. Error: FITW_E_ARGUMENT
 * past the last. [any-thread]
 */
fitw_status fitw_datum_taken(const fitw_context *context,
                             const fitw_datum *datum,
                             size_t index,
                             fitw_str *out);

/**
 * Releases a datum system. NULL is allowed; releasing twice is FITW_E_HANDLE. [any-thread]
 */
fitw_status fitw_datum_release(fitw_datum *datum);

/* ---- JOIN ------------------------------------------------------------------------------------------------ */

/**
 * Joins by target centres seen in both scans, in any order: `to_mm` in the coordinates of the scan
 * joined to, `from_mm` in those of the scan that is joined; x, y, z side by side, double, mm.
 *
 * Strides in bytes from target to target, 0: side by side. `options` may be NULL. Release the join with
 * fitw_join_release. Errors: FITW_E_JOIN in words, FITW_E_LIMIT over 1,000 targets, FITW_E_ARGUMENT.
 * [any-thread]
 */
fitw_status fitw_join_by_targets(const fitw_context *context,
                                 const double *to_mm,
                                 size_t to_count,
                                 size_t to_stride,
                                 const double *from_mm,
                                 size_t from_count,
                                 size_t from_stride,
                                 const fitw_join_options *options,
                                 fitw_join **out);

/**
 * Joins `from` to `to` by the surface that both show. `start` takes coordinates of `from` to those of `to`,
 * nearly; NULL: they nearly agree already. `options` may be NULL. Progress is reported.
 *
 * Errors: FITW_E_JOIN in words, FITW_E_ARGUMENT, FITW_E_CANCELLED. [any-thread]
 */
fitw_status fitw_join_by_surface(const fitw_context *context,
                                 const fitw_scan *to,
                                 const fitw_scan *from,
                                 const fitw_pose *start,
                                 const fitw_join_options *options,
                                 fitw_join **out);

/**
 * Joins `from` to `to` by the surface that both show, from any pose: normals must point to the same side in both.
 * Of `options`, which may be NULL, `least_overlap` and `candidates` count. Progress is reported. Since 1.6.
 *
 * Errors: FITW_E_JOIN in words, with the poses that were weighed, if none is certain: too little in common, or a
 * surface that is symmetric or repeats itself; FITW_E_ARGUMENT; FITW_E_CANCELLED. [any-thread]
 */
fitw_status fitw_join_from_unknown_start(const fitw_context *context,
                                         const fitw_scan *to,
                                         const fitw_scan *from,
                                         const fitw_join_options *options,
                                         fitw_join **out);

/**
 * Joins by features that are the same in both scans, from any pose, weighted by their covariances. `stride` in
 * bytes from one to the next; 0: side by side. Of `options`, which may be NULL, `tolerance_mm` and `loosest_mm`
 * count. Since 1.6.
 *
 * Errors: FITW_E_JOIN in words, if a motion is left free, several poses fit, or the features contradict one
 * another; FITW_E_ARGUMENT for two kinds that do not go together; FITW_E_LIMIT. [any-thread]
 */
fitw_status fitw_join_by_features(const fitw_context *context,
                                  const fitw_same_feature *features,
                                  size_t count,
                                  size_t stride,
                                  const fitw_join_options *options,
                                  fitw_join **out);

/**
 * to_from_this: takes coordinates of the joined scan to those of the scan joined to. [any-thread]
 */
fitw_status fitw_join_pose(const fitw_context *context, const fitw_join *join, fitw_pose *out);

/**
 * Covariance of the pose as a motion about a place in the coordinates of the scan joined to (three numbers,
 * mm; NULL: the middle of what was matched). [any-thread]
 */
fitw_status fitw_join_covariance(const fitw_context *context,
                                 const fitw_join *join,
                                 const double *about_mm,
                                 fitw_covariance *out);

/**
 * How well it was joined. [any-thread]
 */
fitw_status fitw_join_describe(const fitw_context *context, const fitw_join *join, fitw_join_info *out);

/**
 * Pair `index` of targets, from 0. Error: FITW_E_ARGUMENT past the last. [any-thread]
 */
fitw_status fitw_join_pair(const fitw_context *context,
                           const fitw_join *join,
                           size_t index,
                           fitw_target_pair *out);

/**
 * Pose `index` of those weighed in a join from an unknown start, from 0, the best first. Since 1.6. Error:
 * FITW_E_ARGUMENT past the last. [any-thread]
 */
fitw_status fitw_join_candidate(const fitw_context *context,
                                const fitw_join *join,
                                size_t index,
                                fitw_candidate_pose *out);

/**
 * What feature `index` says of a join by features, from 0, in the order given. Since 1.6. Error: FITW_E_ARGUMENT past
 * the last. [any-thread]
 */
fitw_status fitw_join_feature(const fitw_context *context,
                              const fitw_join *join,
                              size_t index,
                              fitw_feature_residual *out);

/**
 * What a person should know of the join (motions that the data leave free, targets that moved), one
 * sentence; valid until the join is released. Error: FITW_E_ARGUMENT past the last. [any-thread]
 */
fitw_status fitw_join_note(const fitw_context *context, const fitw_join *join, size_t index, fitw_str *out);

/**
 * Releases a join. NULL is allowed; releasing twice is FITW_E_HANDLE. [any-thread]
 */
fitw_status fitw_join_release(fitw_join *join);

/* ---- ADJUSTMENT ------------------------------------------------------------------------------------------ */

/**
 * Adjusts scans all together over all their overlaps, from poses near the answer, so that a round of
 * them closes. Since 1.6.
 *
 * `stride` in bytes from one to the next; 0: side by side. `options` may be NULL: the first is held. Progress is
 * reported. Release it with fitw_adjustment_release. Errors: FITW_E_JOIN in words, for a scan that hangs on
 * nothing or a named pair that does not overlap; FITW_E_ARGUMENT; FITW_E_LIMIT over 500 scans; FITW_E_CANCELLED;
 * FITW_E_HANDLE. [any-thread]
 */
fitw_status fitw_adjustment_create(const fitw_context *context,
                                   const fitw_started_scan *scans,
                                   size_t count,
                                   size_t stride,
                                   const fitw_adjust_options *options,
                                   fitw_adjustment **out);

/**
 * Counts. [any-thread]
 */
fitw_status fitw_adjustment_describe(const fitw_context *context,
                                     const fitw_adjustment *adjustment,
                                     fitw_adjustment_info *out);

/**
 * common_from_scan of scan `index`, from 0. Error: FITW_E_ARGUMENT past the last. [any-thread]
 */
fitw_status fitw_adjustment_pose(const fitw_context *context,
                                 const fitw_adjustment *adjustment,
                                 size_t index,
                                 fitw_pose *out);

/**
 * Covariance of the place of scan `index` against the held one, as a motion about a place in common coordinates
 * (three numbers, mm; NULL: the middle of what it was matched by); zero for the held one. [any-thread]
 */
fitw_status fitw_adjustment_covariance(const fitw_context *context,
                                       const fitw_adjustment *adjustment,
                                       size_t index,
                                       const double *about_mm,
                                       fitw_covariance *out);

/**
 * Pair `index` that was used, from 0. Error: FITW_E_ARGUMENT past the last. [any-thread]
 */
fitw_status fitw_adjustment_pair(const fitw_context *context,
                                 const fitw_adjustment *adjustment,
                                 size_t index,
                                 fitw_adjusted_pair *out);

/**
 * What a person should know of it, one sentence; valid until it is released. Error: FITW_E_ARGUMENT past the last.
 * [any-thread]
 */
fitw_status fitw_adjustment_note(const fitw_context *context,
                                 const fitw_adjustment *adjustment,
                                 size_t index,
                                 fitw_str *out);

/**
 * Releases it. NULL is allowed; releasing twice is FITW_E_HANDLE. [any-thread]
 */
fitw_status fitw_adjustment_release(fitw_adjustment *adjustment);

/* ---- JOINED SCANS AS ONE --------------------------------------------------------------------------------- */

/**
 * Puts two or more joined scans into one, the better one where they overlap: that whose
 * surface has the smaller standard deviation there, by its noise, its spacing and its join. Since 1.6.
 *
 * `stride` in bytes from one to the next; 0: side by side. `options` may be NULL. Progress is reported. Release it
 * with fitw_merged_release. Errors: FITW_E_ARGUMENT for fewer than two scans or an option out of range,
 * FITW_E_LIMIT, FITW_E_CANCELLED, FITW_E_HANDLE. [any-thread]
 */
fitw_status fitw_merged_create(const fitw_context *context,
                               const fitw_placed_scan *scans,
                               size_t count,
                               size_t stride,
                               const fitw_merge_options *options,
                               fitw_merged **out);

/**
 * Counts. [any-thread]
 */
fitw_status fitw_merged_describe(const fitw_context *context,
                                 const fitw_merged *merged,
                                 fitw_merged_info *out);

/**
 * It as a scan, coordinates of all; release it with fitw_scan_release. Error: FITW_E_LIMIT. [any-thread]
 */
fitw_status fitw_merged_scan(const fitw_context *context, const fitw_merged *merged, fitw_scan **out);

/**
 * Place in the list of each point's scan; valid until it is released. [any-thread]
 */
fitw_status fitw_merged_point_scans_view(const fitw_context *context,
                                         const fitw_merged *merged,
                                         const uint32_t **scans,
                                         size_t *count);

/**
 * Place in the list of each triangle's scan; NULL if there are none. As above. [any-thread]
 */
fitw_status fitw_merged_triangle_scans_view(const fitw_context *context,
                                            const fitw_merged *merged,
                                            const uint32_t **scans,
                                            size_t *count);

/**
 * Share of each scan's triangles (of bare points: points) that is kept, 0 to 1, in the order given. As above.
 * [any-thread]
 */
fitw_status fitw_merged_kept_view(const fitw_context *context,
                                  const fitw_merged *merged,
                                  const double **shares,
                                  size_t *count);

/**
 * Seam `index`, from 0, by pair of scans. Error: FITW_E_ARGUMENT past the last. [any-thread]
 */
fitw_status fitw_merged_seam(const fitw_context *context,
                             const fitw_merged *merged,
                             size_t index,
                             fitw_seam *out);

/**
 * Releases it. NULL is allowed; releasing twice is FITW_E_HANDLE. [any-thread]
 */
fitw_status fitw_merged_release(fitw_merged *merged);

/* ---- A LATER DAY ----------------------------------------------------------------------------------------- */

/**
 * Reads a datum system that a run saved (datum.json); release it with fitw_saved_datum_release. Since
 * 1.7.
 *
 * Errors: FITW_E_IO, FITW_E_FORMAT with the place of what is wrong, FITW_E_LIMIT. [any-thread]
 */
fitw_status fitw_saved_datum_read(const fitw_context *context,
                                  fitw_str path,
                                  fitw_saved_datum **out);

/**
 * The same from the file's text in memory.
 *
 * Error: FITW_E_FORMAT with the place of what is wrong. [any-thread]
 */
fitw_status fitw_saved_datum_parse(const fitw_context *context, fitw_str json, fitw_saved_datum **out);

/**
 * What it consists of. [any-thread]
 */
fitw_status fitw_saved_datum_describe(const fitw_context *context,
                                      const fitw_saved_datum *saved,
                                      fitw_saved_datum_info *out);

/**
 * Feature `index`, from 0. Error: FITW_E_ARGUMENT past the last. [any-thread]
 */
fitw_status fitw_saved_datum_feature(const fitw_context *context,
                                     const fitw_saved_datum *saved,
                                     size_t index,
                                     fitw_saved_feature *out);

/**
 * Finds it in later scans that are joined to each other, from any pose unless a start is given. The pose is good
 * enough to find each feature again; fitted there, they go to fitw_saved_datum_changes.
 *
 * `stride` in bytes from one scan to the next; 0: side by side. `options` may be NULL. Progress is reported. Errors:
 * FITW_E_JOIN for too few features, two poses that do about as well or a layout that is too regular;
 * FITW_E_ARGUMENT, FITW_E_CANCELLED, FITW_E_HANDLE. [any-thread]
 */
fitw_status fitw_saved_datum_find(const fitw_context *context,
                                  const fitw_saved_datum *saved,
                                  const fitw_placed_scan *scans,
                                  size_t count,
                                  size_t stride,
                                  const fitw_again_options *options,
                                  fitw_found_again *out);

/**
 * Compares features found on a later day, machine coordinates of that day, with the saved ones; release it with
 * fitw_changes_release.
 *
 * `features` are in the saved order, NULL for one that was not found; `count` is feature_count. A change up to
 * `still_mm` (turns at the feature's edge) counts as none; 0: 0.1 mm. Errors: FITW_E_ARGUMENT also for a feature of
 * another kind than the saved one, FITW_E_HANDLE. [any-thread]
 */
fitw_status fitw_saved_datum_changes(const fitw_context *context,
                                     const fitw_saved_datum *saved,
                                     const fitw_feature *const *features,
                                     size_t count,
                                     double still_mm,
                                     fitw_changes **out);

/**
 * Releases a saved datum system. NULL is allowed; releasing twice is FITW_E_HANDLE. [any-thread]
 */
fitw_status fitw_saved_datum_release(fitw_saved_datum *saved);

/**
 * What changed as a whole. [any-thread]
 */
fitw_status fitw_changes_describe(const fitw_context *context,
                                  const fitw_changes *changes,
                                  fitw_changes_info *out);

/**
 * Change of feature `index`, from 0, in the saved order. Error: FITW_E_ARGUMENT past the last. [any-thread]
 */
fitw_status fitw_changes_feature(const fitw_context *context,
                                 const fitw_changes *changes,
                                 size_t index,
                                 fitw_change *out);

/**
 * Name of a feature that stands out, the first to stand out first; valid until the changes are released. Error:
 * FITW_E_ARGUMENT past the last. [any-thread]
 */
fitw_status fitw_changes_stand_out(const fitw_context *context,
                                   const fitw_changes *changes,
                                   size_t index,
                                   fitw_str *out);

/**
 * What a person should know, one sentence; valid until the changes are released. Error: FITW_E_ARGUMENT past the
 * last. [any-thread]
 */
fitw_status fitw_changes_note(const fitw_context *context,
                              const fitw_changes *changes,
                              size_t index,
                              fitw_str *out);

/**
 * Covariance of still_from_machine as a motion about a place in machine coordinates (three numbers, mm; NULL: the
 * machine's origin). [any-thread]
 */
fitw_status fitw_changes_covariance(const fitw_context *context,
                                    const fitw_changes *changes,
                                    const double *about_mm,
                                    fitw_covariance *out);

/**
 * Releases changes. NULL is allowed; releasing twice is FITW_E_HANDLE. [any-thread]
 */
fitw_status fitw_changes_release(fitw_changes *changes);

/* ---- STEP ------------------------------------------------------------------------------------------------ */

/**
 * Writes features to a STEP file in machine coordinates, which appears complete or not at all.
 *
 * `machine_from_scan` is applied to every feature; NULL: they are in machine coordinates already.
 * `features` are `count` handles side by side. `options` may be NULL. Errors: FITW_E_DUPLICATE_NAME,
 * FITW_E_IO, FITW_E_ARGUMENT, FITW_E_HANDLE. [any-thread]
 */
fitw_status fitw_step_write(const fitw_context *context,
                            fitw_str path,
                            const fitw_pose *machine_from_scan,
                            const fitw_feature *const *features,
                            size_t count,
                            const fitw_step_options *options);

/**
 * As fitw_step_write, into memory: release the text with fitw_text_release. [any-thread]
 */
fitw_status fitw_step_text(const fitw_context *context,
                           const fitw_pose *machine_from_scan,
                           const fitw_feature *const *features,
                           size_t count,
                           const fitw_step_options *options,
                           fitw_text **out);

/* ---- SURVEY ---------------------------------------------------------------------------------------------- */

/**
 * Finds every primitive of a scan, a mesh or bare points. Limits come from the scan's noise and
 * resolution. Progress is reported. Release the survey with fitw_survey_release.
 *
 * `options` may be NULL. A scan in which nothing is found is no error. Errors: FITW_E_ARGUMENT for a smallest
 * size under 0 or not finite, or unknown flags; FITW_E_CANCELLED. [any-thread]
 */
fitw_status fitw_survey_run(const fitw_context *context,
                            const fitw_scan *scan,
                            const fitw_survey_options *options,
                            fitw_survey **out);

/**
 * Counts. [any-thread]
 */
fitw_status fitw_survey_describe(const fitw_context *context,
                                 const fitw_survey *survey,
                                 fitw_survey_info *out);

/**
 * Primitive `index`, from 0: planes, cylinders, cones, spheres, tori; within a kind the largest first. Error:
 * FITW_E_ARGUMENT past the last. [any-thread]
 */
fitw_status fitw_survey_primitive(const fitw_context *context,
                                  const fitw_survey *survey,
                                  size_t index,
                                  fitw_surveyed *out);

/**
 * The numbers of a primitive's points, ascending, edges included. A point belongs to one primitive or to none.
 * Not a copy; valid until the survey is released. Error: FITW_E_ARGUMENT past the last primitive. [any-thread]
 */
fitw_status fitw_survey_ids_view(const fitw_context *context,
                                 const fitw_survey *survey,
                                 size_t index,
                                 const uint32_t **ids,
                                 size_t *count);

/**
 * The numbers of the primitives that a primitive touches, ascending; NULL if none. As above. [any-thread]
 */
fitw_status fitw_survey_neighbours_view(const fitw_context *context,
                                        const fitw_survey *survey,
                                        size_t index,
                                        const uint32_t **primitives,
                                        size_t *count);

/**
 * A primitive as a feature whose name is its id, with pieces, parameters, quality and covariance; release it with
 * fitw_feature_release. Error: FITW_E_ARGUMENT past the last. [any-thread]
 */
fitw_status fitw_survey_feature(const fitw_context *context,
                                const fitw_survey *survey,
                                size_t index,
                                fitw_feature **out);

/**
 * A primitive's points as a region of the scan, edges included, to be fitted in another way or to be looked for
 * holes; release it with fitw_region_release. Error: FITW_E_ARGUMENT past the last. [any-thread]
 */
fitw_status fitw_survey_region(const fitw_context *context,
                               const fitw_survey *survey,
                               size_t index,
                               fitw_region **out);

/**
 * The primitive nearest to a place (three numbers, mm): its number, FITW_SURVEY_NONE if there is none, and how far
 * its nearest point is (`distance_mm` may be NULL; NaN for none).
 *
 * `kind`: FITW_KIND_… that it is to have; 0: any. `diameter_mm`: only round shapes of about this diameter, within a
 * tenth (a cone's in the middle of what was seen, a torus's of its tube); 0: any. Error: FITW_E_ARGUMENT for a
 * place or diameter that is not finite, a diameter under 0, or an unknown kind. [any-thread]
 */
fitw_status fitw_survey_nearest(const fitw_context *context,
                                const fitw_survey *survey,
                                const double *place_mm,
                                int32_t kind,
                                double diameter_mm,
                                int32_t *index,
                                double *distance_mm);

/**
 * Releases a survey. NULL is allowed; releasing twice is FITW_E_HANDLE. [any-thread]
 */
fitw_status fitw_survey_release(fitw_survey *survey);

/**
 * Hole `index`, from 0, the widest first. Error: FITW_E_ARGUMENT past the last. [any-thread]
 */
fitw_status fitw_survey_hole(const fitw_context *context,
                             const fitw_survey *survey,
                             size_t index,
                             fitw_surveyed_hole *out);

/**
 * Tube `index`, from 0: the numbers of its cylinders and bends, in order along it, and their mean radius
 * (`radius_mm` may be NULL). Not a copy; valid until the survey is released. Error: FITW_E_ARGUMENT past the
 * last. [any-thread]
 */
fitw_status fitw_survey_tube_view(const fitw_context *context,
                                  const fitw_survey *survey,
                                  size_t index,
                                  const uint32_t **members,
                                  size_t *count,
                                  double *radius_mm);

/**
 * Group `index`, from 0: the numbers of its primitives, ascending, what they have in common (FITW_SURVEYED_…), and
 * the common radius (`radius_mm` may be NULL), NaN if that is not it. Of a perpendicular pair of directions one
 * primitive each. As above. [any-thread]
 */
fitw_status fitw_survey_group_view(const fitw_context *context,
                                   const fitw_survey *survey,
                                   size_t index,
                                   const uint32_t **members,
                                   size_t *count,
                                   int32_t *kind,
                                   double *radius_mm);

/**
 * The likeliest datum system; all FITW_SURVEY_NONE without any plane. [any-thread]
 */
fitw_status fitw_survey_datum(const fitw_context *context,
                              const fitw_survey *survey,
                              fitw_proposed_datum *out);

/**
 * The survey as JSON, as the command line writes it to survey.json: lengths in mm, angles in degrees. Release the
 * text with fitw_text_release.
 *
 * `scan_file` is the scan's file as the text is to name it; may be empty. Error: FITW_E_ARGUMENT. [any-thread]
 */
fitw_status fitw_survey_json(const fitw_context *context,
                             const fitw_survey *survey,
                             fitw_str scan_file,
                             fitw_text **out);

/**
 * A job file with the likeliest datum system, every hole with its face, and the other primitives as comments to be
 * taken in. Release the text with fitw_text_release.
 *
 * `scan_file` is the scan's file as seen from the job's folder, `unit` (FITW_UNIT_…; 0: mm) that of its
 * coordinates. Error: FITW_E_ARGUMENT. [any-thread]
 */
fitw_status fitw_survey_starter_job(const fitw_context *context,
                                    const fitw_survey *survey,
                                    fitw_str scan_file,
                                    int32_t unit,
                                    fitw_text **out);

/* ---- PART ------------------------------------------------------------------------------------------------ */

/**
 * Reads a part in machine coordinates: STEP (.step, .stp, .p21), STL, PLY, OBJ, GLB or 3MF, by the
 * extension. Release it with fitw_part_release.
 *
 * The part may be open: fitw_part_describe tells. `options` may be NULL. Errors: FITW_E_IO, FITW_E_FORMAT
 * with entity and line, FITW_E_UNKNOWN_FORMAT, FITW_E_UNSUPPORTED, FITW_E_LIMIT, FITW_E_ARGUMENT,
 * FITW_E_CANCELLED; of an importer also FITW_E_PLUGIN. [any-thread]
 */
fitw_status fitw_part_read(const fitw_context *context,
                           fitw_str path,
                           const fitw_part_options *options,
                           fitw_part **out);

/**
 * Makes a part of the host's triangles, whose corners are shared by number; copied, machine coordinates.
 *
 * `name` stands for the file in messages; may be empty. Normals are not used. With FITW_MESH_BORROW the
 * arrays are copied too and `release` is called before the call returns. A mesh that is inside out is
 * turned, with a note. Errors: FITW_E_FORMAT for a number past the points, coordinates that are not
 * finite or no triangle, FITW_E_LIMIT, FITW_E_ARGUMENT. [any-thread]
 */
fitw_status fitw_part_create(const fitw_context *context,
                             const fitw_mesh *mesh,
                             fitw_str name,
                             fitw_part **out);

/**
 * What the part consists of. [any-thread]
 */
fitw_status fitw_part_describe(const fitw_context *context, const fitw_part *part, fitw_part_info *out);

/**
 * Corners of the part's mesh: x, y, z side by side, mm, `*count` corners. Not a copy; valid until the part
 * is released. [any-thread]
 */
fitw_status fitw_part_points_view(const fitw_context *context,
                                  const fitw_part *part,
                                  const double **xyz_mm,
                                  size_t *count);

/**
 * Triangles of the part's mesh: three corner numbers each. As above. [any-thread]
 */
fitw_status fitw_part_triangles_view(const fitw_context *context,
                                     const fitw_part *part,
                                     const uint32_t **corners,
                                     size_t *count);

/**
 * Number of the face of each triangle; NULL and 0 for a part without faces. As above. [any-thread]
 */
fitw_status fitw_part_face_of_triangle_view(const fitw_context *context,
                                            const fitw_part *part,
                                            const uint32_t **faces,
                                            size_t *count);

/**
 * Surface of face `index`, from 0: `shape->kind` is 0 for one that is no ideal shape; `*reversed` (may be
 * NULL) is 1 if the material's outside is against the shape's own normal, as in a bore. Error:
 * FITW_E_ARGUMENT past the last. [any-thread]
 */
fitw_status fitw_part_face(const fitw_context *context,
                           const fitw_part *part,
                           size_t index,
                           fitw_shape *shape,
                           int32_t *reversed);

/**
 * Hole `index`, from 0. Error: FITW_E_ARGUMENT past the last. [any-thread]
 */
fitw_status fitw_part_hole(const fitw_context *context,
                           const fitw_part *part,
                           size_t index,
                           fitw_part_hole_info *out);

/**
 * The round hole at a place (three numbers, mm), looked for among the known ones and then in the facets.
 *
 * Error: FITW_E_UNDETERMINED if there is none. [any-thread]
 */
fitw_status fitw_part_hole_at(const fitw_context *context,
                              const fitw_part *part,
                              const double *place_mm,
                              fitw_part_hole_info *out);

/**
 * What was met or healed when the part was read, one sentence; valid until the part is released. Error:
 * FITW_E_ARGUMENT past the last. [any-thread]
 */
fitw_status fitw_part_note(const fitw_context *context, const fitw_part *part, size_t index, fitw_str *out);

/**
 * Releases a part. NULL is allowed; releasing twice is FITW_E_HANDLE. [any-thread]
 */
fitw_status fitw_part_release(fitw_part *part);

/* ---- MESHES OUT ------------------------------------------------------------------------------------------ */

/**
 * Writes scans, parts and features into one mesh file, which appears complete or not at all.
 *
 * The extension of `path` says the format: .ply (binary, double), .stl (binary), .obj, .glb, .3mf. Millimetres
 * in the bodies' own coordinates; GLB holds metres with Y up, as it must, and programs that read it take that
 * back. Names and colours are kept by OBJ, GLB and 3MF, colours by PLY. `bodies` are `count` structs, `stride`
 * bytes from one to the next; 0: side by side. Errors: FITW_E_UNKNOWN_FORMAT, FITW_E_DUPLICATE_NAME,
 * FITW_E_ARGUMENT (no bodies, a body of none or several things, a feature without faces, bare points as STL
 * or 3MF), FITW_E_LIMIT, FITW_E_IO, FITW_E_HANDLE. [any-thread]
 */
fitw_status fitw_meshes_write(const fitw_context *context,
                              fitw_str path,
                              const fitw_body *bodies,
                              size_t count,
                              size_t stride);

/* ---- TEMPERATURE ----------------------------------------------------------------------------------------- */

/**
 * Coefficient of linear expansion of a material and half its range over the materials of that
 * name, 1/K: "steel", "stainless steel", "ferritic stainless steel", "cast iron", "aluminium", "brass",
 * "titanium", "printed plastic". Common handbook values. Error: FITW_E_ARGUMENT for another name.
 * [any-thread]
 */
fitw_status fitw_material_expansion(const fitw_context *context,
                                    fitw_str name,
                                    double *expansion,
                                    double *within);

/* ---- CHECK ----------------------------------------------------------------------------------------------- */

/**
 * Every check of the part against the scene, the worst findings first: interference; clearance to features,
 * to the rest of each scan and to other parts; seats, bolt holes and both at once; coverage; motion; and if they are
 * asked for, tool access, insertion and what is warmed (kind "thermal"). fitw_check_made makes them again with the
 * finished part (and kind "made part"). Progress is reported. Release the result with fitw_check_release.
 *
 * Errors: FITW_E_OPEN_PART if the part or another one is no closed solid, FITW_E_UNDETERMINED if the part has no hole at
 * a mount, FITW_E_ARGUMENT for places out of range, bad limits or an unknown bolt, FITW_E_HANDLE,
 * FITW_E_CANCELLED. [any-thread]
 */
fitw_status fitw_check_run(const fitw_context *context,
                           const fitw_scene *scene,
                           fitw_check **out);

/**
 * Signed clearance of each corner of the part's mesh to the nearest scanned surface that is not its seat, or other
 * part that it is not meant to touch, mm: negative in the machine's material, infinite where there is none; into the caller's `buffer` of
 * `capacity` doubles, in the order of fitw_part_points_view.
 *
 * `need` (may be NULL) gets the number of corners. Without a buffer (NULL, 0) only that, at once. Progress
 * is reported. Errors: FITW_E_BUFFER if it is too small, else as fitw_check_run. [any-thread]
 */
fitw_status fitw_check_clearance(const fitw_context *context,
                                 const fitw_scene *scene,
                                 double *buffer,
                                 size_t capacity,
                                 size_t *need);

/**
 * Worst verdict of the findings, FITW_VERDICT_…, and their number; either may be NULL. [any-thread]
 */
fitw_status fitw_check_verdict(const fitw_context *context,
                               const fitw_check *check,
                               int32_t *verdict,
                               size_t *finding_count);

/**
 * Finding `index`, from 0, the worst first. Error: FITW_E_ARGUMENT past the last. [any-thread]
 */
fitw_status fitw_check_finding(const fitw_context *context,
                               const fitw_check *check,
                               size_t index,
                               fitw_finding *out);

/**
 * Where the part was checked: moves it from where it was designed. The identity, unless its bolts go in only with
 * the part moved within its play; then every check was made where they have most room. [any-thread]
 */
fitw_status fitw_check_part_pose(const fitw_context *context,
                                 const fitw_check *check,
                                 fitw_pose *out);

/**
 * Further number `index` of finding `finding`, from 0: area and volume of an overlap, swing of a spanner, ….
 * The finding's `number_count` says how many. Error: FITW_E_ARGUMENT past the last. [any-thread]
 */
fitw_status fitw_check_number(const fitw_context *context,
                              const fitw_check *check,
                              size_t finding,
                              size_t index,
                              fitw_finding_number *out);

/**
 * Share `index` of the uncertainty of finding `finding`, from 0, the largest first. The finding's `share_count`
 * says how many. Error: FITW_E_ARGUMENT past the last. [any-thread]
 */
fitw_status fitw_check_share(const fitw_context *context,
                             const fitw_check *check,
                             size_t finding,
                             size_t index,
                             fitw_finding_share *out);

/**
 * Places of the part on its way from outside to its seat, of a finding FITW_CHECK_INSERTION that found one: each
 * takes it from where it was designed, machine coordinates; into the caller's `buffer` of `capacity` poses.
 *
 * `need` (may be NULL) gets their number, 0 for other findings. Errors: FITW_E_ARGUMENT past the last finding,
 * FITW_E_BUFFER if the buffer is too small. [any-thread]
 */
fitw_status fitw_check_path(const fitw_context *context,
                            const fitw_check *check,
                            size_t finding,
                            fitw_pose *buffer,
                            size_t capacity,
                            size_t *need);

/**
 * Releases a check. NULL is allowed; releasing twice is FITW_E_HANDLE. [any-thread]
 */
fitw_status fitw_check_release(fitw_check *check);

/**
 * Lays the scan of the finished part on the scene's part, says how far it is off, and makes every check again with
 * the part as made (names of those findings end in "as made"). Release the findings with fitw_check_release.
 *
 * `part_from_scan` (may be NULL) gets where the scan lies; `deviations` (may be NULL, with `capacity` 0) the
 * distance of each of its points from the model, mm, negative where material is missing. Progress is reported.
 *
 * Errors: FITW_E_JOIN if the scan does not lie on the model or does so in two ways; FITW_E_UNDETERMINED if the faces it
 * is laid on leave it free; FITW_E_BUFFER if `capacity` is not 0 and too small; else as fitw_check_run. [any-thread]
 */
fitw_status fitw_check_made(const fitw_context *context,
                            const fitw_scene *scene,
                            const fitw_made *made,
                            fitw_pose *part_from_scan,
                            double *deviations,
                            size_t capacity,
                            fitw_check **out);

/* ---- JOB ------------------------------------------------------------------------------------------------- */

/**
 * Reads the text of a job file (TOML) and validates it. `folder` is what its paths are relative to;
 * empty: the process' own. Release the job with fitw_job_release.
 *
 * Errors: FITW_E_JOB with place and remedy, FITW_E_DUPLICATE_NAME, FITW_E_UNKNOWN_NAME, FITW_E_ARGUMENT.
 * [any-thread]
 */
fitw_status fitw_job_create(const fitw_context *context, fitw_str text, fitw_str folder, fitw_job **out);

/**
 * Runs a job. Progress is reported. Release the outcome with fitw_outcome_release.
 *
 * Its features may name the context's plug-ins, and its own `[plugins]` are loaded for this run, in a worker
 * with the options of the last fitw_plugins_load unless the job trusts them: run only jobs that you would
 * run programs of. The context's memory limit does not count what a job loads. Errors: any; the message
 * names the scan, feature or part. [any-thread]
 */
fitw_status fitw_job_run(const fitw_context *context, const fitw_job *job, fitw_outcome **out);

/**
 * The JSON schema (draft 2020-12) of job files; release the text with fitw_text_release. [any-thread]
 */
fitw_status fitw_job_schema(const fitw_context *context, fitw_text **out);

/**
 * Releases a job. NULL is allowed; releasing twice is FITW_E_HANDLE. [any-thread]
 */
fitw_status fitw_job_release(fitw_job *job);

/**
 * The result as JSON, as the command line writes it to result.json; valid until the outcome is released.
 * [any-thread]
 */
fitw_status fitw_outcome_json(const fitw_context *context, const fitw_outcome *outcome, fitw_str *out);

/**
 * Verdict, counts and frame. [any-thread]
 */
fitw_status fitw_outcome_describe(const fitw_context *context,
                                  const fitw_outcome *outcome,
                                  fitw_outcome_info *out);

/**
 * Feature `index` of the outcome, from 0, machine coordinates; release it with fitw_feature_release. Error:
 * FITW_E_ARGUMENT past the last. [any-thread]
 */
fitw_status fitw_outcome_feature(const fitw_context *context,
                                 const fitw_outcome *outcome,
                                 size_t index,
                                 fitw_feature **out);

/**
 * The findings of the outcome; release them with fitw_check_release. [any-thread]
 */
fitw_status fitw_outcome_check(const fitw_context *context, const fitw_outcome *outcome, fitw_check **out);

/**
 * Writes what the command line writes into a folder, which is made if need be: result.json, features.step,
 * report.html, and with a part part-clearance.ply. `flags`: 0 or FITW_OUTCOME_SCAN_MACHINE.
 *
 * Each file appears complete or not at all. Errors: FITW_E_IO, FITW_E_ARGUMENT. [any-thread]
 */
fitw_status fitw_outcome_write(const fitw_context *context,
                               const fitw_outcome *outcome,
                               fitw_str folder,
                               uint32_t flags);

/**
 * Releases an outcome. NULL is allowed; releasing twice is FITW_E_HANDLE. [any-thread]
 */
fitw_status fitw_outcome_release(fitw_outcome *outcome);

/* ---- PLUGIN ---------------------------------------------------------------------------------------------- */

/**
 * Loads the plug-in of a folder (the one with a fitwright-plugin.toml), or all plug-ins in a folder:
 * from now on the context has their fitters for fits by id, and for the jobs it runs. A plug-in that is there
 * already stays as it is.
 *
 * Load only folders that you or your user named: a plug-in is a program. Nothing is looked for by itself.
 * Refused are a library or folder that others may write to, one of another version of the interface, and an
 * id that is taken; the manifest is read before any code runs, and the others of the folder are loaded all
 * the same: see fitw_plugin_refused.
 *
 * A plug-in runs in a process of its own, the program fitwright-worker, which a host ships beside its own
 * program or names in `options` (where the program is an interpreter or a CAD system, it must): then a
 * crash, a hang or too much memory ends that process and is an error of the call, FITW_E_PLUGIN. This
 * contains accidents, not malice: a worker has the rights of its user. With `trust` the library is loaded into
 * this process, never to be unloaded: a call is cheaper, and a crash is the host's. Answers are the same to
 * the bit, and checked by the engine either way.
 *
 * `folder` may be empty: nothing is loaded. The options but for `trust` are those of the plug-ins that later
 * jobs of this context name themselves. `options` and `loaded`, which gets the number of plug-ins that were
 * loaded, may be NULL. Errors: FITW_E_IO if the folder cannot be read, FITW_E_PLUGIN_REFUSED if others may
 * write to it, FITW_E_ARGUMENT, FITW_E_CANCELLED. [any-thread]
 */
fitw_status fitw_plugins_load(const fitw_context *context,
                              fitw_str folder,
                              const fitw_plugin_options *options,
                              size_t *loaded);

/**
 * Number of plug-ins that are loaded. [any-thread]
 */
fitw_status fitw_plugin_count(const fitw_context *context, size_t *count);

/**
 * Plug-in `index`, from 0, in the order of loading. Error: FITW_E_ARGUMENT past the last. [any-thread]
 */
fitw_status fitw_plugin_describe(const fitw_context *context, size_t index, fitw_plugin_info *out);

/**
 * Number of plug-ins that were refused. [any-thread]
 */
fitw_status fitw_plugin_refused_count(const fitw_context *context, size_t *count);

/**
 * Refused plug-in `index`, from 0. One that is loaded later is no longer among them. Error: FITW_E_ARGUMENT
 * past the last. [any-thread]
 */
fitw_status fitw_plugin_refused(const fitw_context *context, size_t index, fitw_refusal *out);

/**
 * Number of importers of the plug-ins that are loaded. [any-thread]
 */
fitw_status fitw_importer_count(const fitw_context *context, size_t *count);

/**
 * Importer `index`, from 0, in the order of loading. Error: FITW_E_ARGUMENT past the last. [any-thread]
 */
fitw_status fitw_importer_describe(const fitw_context *context, size_t index, fitw_importer_info *out);

#ifdef __cplusplus
}  // extern "C"
#endif  // __cplusplus

#endif  /* FITWRIGHT_H */
