/* Importers for the tests, honest and hostile: each hands over a cube of 10 mm, spoilt in one place. Compiled with NAME,
 * a text, and BEHAVIOUR, the function of it. Plug-in hostile.NAME, importer hostile.NAME-cube, extension "cube". */
#include <fitwright_plugin.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#ifdef __GNUC__
#define UNUSED __attribute__((unused))
#else
#define UNUSED
#endif

typedef struct cube {
    double points[24];
    uint32_t corners[36], face_of[12];
    fitw_plugin_face faces[6];
} cube;

#define CASE(name)                                                                                             \
    UNUSED static int32_t name(const fitw_plugin_import_input *input, const fitw_plugin_call *call,           \
                               const fitw_plugin_part *part)

/* Corners by the bits x, y, z; two triangles a side, counter-clockwise from outside. */
UNUSED static cube make(void)
{
    static const uint32_t sides[6][4] = {{0, 4, 6, 2}, {1, 3, 7, 5}, {0, 1, 5, 4}, {2, 6, 7, 3}, {0, 2, 3, 1}, {4, 5, 7, 6}};
    cube c;
    unsigned i, k;
    memset(&c, 0, sizeof c);
    for (i = 0; i < 8; ++i)
        for (k = 0; k < 3; ++k) c.points[3 * i + k] = (i >> k & 1u) ? 10.0 : 0.0;
    for (i = 0; i < 6; ++i) {
        static const unsigned of[6] = {0, 1, 2, 0, 2, 3};
        fitw_plugin_face *f = &c.faces[i];
        for (k = 0; k < 6; ++k) c.corners[6 * i + k] = sides[i][of[k]];
        c.face_of[2 * i] = c.face_of[2 * i + 1] = i;
        f->struct_size = sizeof *f, f->shape = FITW_PLUGIN_SHAPE_PLANE;
        /* All normals towards growing coordinates: the lower sides are reversed. */
        f->reversed = i % 2 == 0;
        f->point_mm[i / 2] = i % 2 ? 10.0 : 0.0;
        f->direction[i / 2] = 1.0;
    }
    return c;
}

UNUSED static int32_t hand_over(const fitw_plugin_part *part, const cube *c)
{
    static const fitw_plugin_text schema = FITW_PLUGIN_TEXT("CUBE");
    int32_t state = part->schema(part, schema), k;
    if (state == FITW_PLUGIN_OK) state = part->solid(part);
    if (state == FITW_PLUGIN_OK) state = part->points(part, c->points, 8);
    for (k = 0; k < 6 && state == FITW_PLUGIN_OK; ++k) state = part->face(part, &c->faces[k]);
    if (state == FITW_PLUGIN_OK) state = part->triangles(part, c->corners, c->face_of, 12);
    return state;
}

#define SPOILT(name, how)                                                                                      \
    CASE(name)                                                                                                 \
    {                                                                                                          \
        cube c = make();                                                                                       \
        (void)input, (void)call;                                                                               \
        how;                                                                                                   \
        return hand_over(part, &c);                                                                            \
    }

SPOILT(honest, (void)0)
SPOILT(nan_corner, c.points[7] = strtod("nan", NULL))
SPOILT(far_corner, c.points[7] = 1e9)
SPOILT(index_out_of_range, c.corners[4] = 8)
SPOILT(face_out_of_range, c.face_of[3] = 6)
SPOILT(long_direction, c.faces[2].direction[1] = 2.0)
SPOILT(nan_direction, c.faces[2].direction[1] = strtod("nan", NULL))
SPOILT(turned_face, c.faces[3].reversed = 1)
SPOILT(odd_flag, c.faces[3].reversed = 7)
SPOILT(no_radius, (c.faces[1].shape = FITW_PLUGIN_SHAPE_CYLINDER, c.faces[1].size_1 = 0.0))
SPOILT(huge_radius, (c.faces[1].shape = FITW_PLUGIN_SHAPE_SPHERE, c.faces[1].size_1 = 1e5))
SPOILT(other_surface, (c.faces[1].shape = FITW_PLUGIN_SHAPE_SPHERE, c.faces[1].size_1 = 3.0))
SPOILT(curve_as_face, (c.faces[1].shape = FITW_PLUGIN_SHAPE_CIRCLE, c.faces[1].size_1 = 3.0))
SPOILT(small_face, c.faces[4].struct_size = 8)
SPOILT(crash, *(volatile int *)(uintptr_t)input->reserved = 1)
SPOILT(hang, for (;;) (void)part)

CASE(null_points)
{
    (void)input, (void)call;
    part->solid(part);
    return part->points(part, NULL, 8);
}

CASE(nothing)
{
    (void)input, (void)call, (void)part;
    return FITW_PLUGIN_OK;
}

CASE(faces_of_some)
{
    cube c = make();
    int32_t state = hand_over(part, &c);
    (void)input, (void)call;
    return state == FITW_PLUGIN_OK ? part->triangles(part, c.corners, NULL, 1) : state;
}

static int32_t with_hole(const fitw_plugin_part *part, double z, double radius)
{
    cube c = make();
    fitw_plugin_hole hole;
    memset(&hole, 0, sizeof hole);
    hole.struct_size = sizeof hole, hole.axis[2] = 1.0, hole.radius_mm = radius, hole.depth_mm = 10.0;
    hole.point_mm[0] = hole.point_mm[1] = 5.0, hole.point_mm[2] = z;
    hand_over(part, &c);
    return part->hole(part, &hole);
}

CASE(with_a_hole)
{
    (void)input, (void)call;
    return with_hole(part, 5.0, 2.0);
}

CASE(hole_outside)
{
    (void)input, (void)call;
    return with_hole(part, 50.0, 2.0);
}

CASE(hole_of_no_radius)
{
    (void)input, (void)call;
    return with_hole(part, 5.0, strtod("nan", NULL));
}

CASE(endless_triangles)
{
    cube c = make();
    int32_t state = hand_over(part, &c);
    (void)input, (void)call;
    while (state == FITW_PLUGIN_OK) state = part->triangles(part, c.corners, c.face_of, 12);
    return state;
}

CASE(endless_points)
{
    cube c = make();
    int32_t state = hand_over(part, &c);
    (void)input, (void)call;
    while (state == FITW_PLUGIN_OK) state = part->points(part, c.points, 8);
    return FITW_PLUGIN_OK; /* as if nothing had been said */
}

CASE(reports_a_fit)
{
    static const fitw_plugin_text name = FITW_PLUGIN_TEXT("width");
    cube c = make();
    (void)input;
    call->number(call, name, FITW_PLUGIN_UNIT_MM, 3.0);
    return hand_over(part, &c);
}

/* Says so, with a remedy. */
CASE(cannot_read)
{
    static const fitw_plugin_text why = FITW_PLUGIN_TEXT("a cube of no corners; bake it again");
    (void)input, (void)part;
    call->reason(call, why);
    return FITW_PLUGIN_E_INPUT;
}

/* Waits to be stopped. */
CASE(waits)
{
    (void)input, (void)part;
    while (!call->cancelled(call)) call->progress(call, 0.5);
    return FITW_PLUGIN_E_CANCELLED;
}

static int32_t import(const void *data, const fitw_plugin_import_input *input, const fitw_plugin_call *call,
                      const fitw_plugin_part *part)
{
    (void)data;
    return BEHAVIOUR(input, call, part);
}

static const void *ability(fitw_plugin_text id)
{
    static const fitw_plugin_text of = FITW_PLUGIN_TEXT("hostile." NAME "-cube"), title = FITW_PLUGIN_TEXT("Cubes");
    static fitw_plugin_text extension = FITW_PLUGIN_TEXT("cube");
    static fitw_plugin_importer importer;
    static const fitw_plugin_importer *importers[1];
    static fitw_plugin_import all;
    if (id.length != strlen(FITW_PLUGIN_IMPORT) || memcmp(id.data, FITW_PLUGIN_IMPORT, id.length) != 0) return NULL;
    importer.struct_size = sizeof importer, importer.id = of, importer.title = title, importer.import = import;
    importer.extensions = &extension, importer.extension_count = 1;
    importers[0] = &importer;
    all.struct_size = sizeof all, all.importers = importers, all.importer_count = 1;
    return &all;
}

int32_t fitw_plugin_entry(uint32_t lowest, uint32_t highest, const fitw_plugin_host *host, fitw_plugin_table *table)
{
    static const fitw_plugin_text id = FITW_PLUGIN_TEXT("hostile." NAME);
    (void)lowest, (void)host;
    table->version = highest < FITW_PLUGIN_VERSION ? highest : FITW_PLUGIN_VERSION;
    table->id = id, table->ability = ability;
    return FITW_PLUGIN_OK;
}
