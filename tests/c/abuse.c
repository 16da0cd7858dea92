/* What a host may get wrong: every case gives an error with a message, and leaves results untouched. */
#include "common.h"

typedef struct grown_options {
    fitw_fit_options known;
    uint64_t later;
} grown_options;

static void message_is_there(void)
{
    char message[256];
    size_t need = 0;
    OK(fitw_context_error_message(ctx, message, sizeof message, &need));
    TRUE_(need > 10 && strlen(message) > 10);
}

#define REFUSED(expected, call)                                                                               \
    do {                                                                                                      \
        IS(expected, call);                                                                                   \
        message_is_there();                                                                                   \
    } while (0)

static void handles(fitw_scan *scan)
{
    double number = 5.0;
    fitw_scan *dead = NULL, *none = NULL;
    fitw_context *gone = NULL;
    fitw_pose still = {{1, 0, 0, 0, 1, 0, 0, 0, 1}, {0, 0, 0}};
    REFUSED(FITW_E_HANDLE, fitw_scan_noise(ctx, NULL, &number));
    REFUSED(FITW_E_HANDLE, fitw_scan_noise(ctx, (fitw_scan *)(void *)&number, &number));
    REFUSED(FITW_E_HANDLE, fitw_scan_noise(ctx, (fitw_scan *)(void *)ctx, &number));
    OK(fitw_scan_move(ctx, scan, &still, &dead));
    OK(fitw_scan_release(dead));
    REFUSED(FITW_E_HANDLE, fitw_scan_noise(ctx, dead, &number));
    IS(FITW_E_HANDLE, fitw_scan_release(dead));
    IS(FITW_E_HANDLE, fitw_fit_release((fitw_fit *)(void *)scan));
    IS(FITW_E_HANDLE, fitw_scan_noise(NULL, scan, &number));
    IS(FITW_E_HANDLE, fitw_scan_noise((fitw_context *)(void *)scan, scan, &number));
    OK(fitw_scan_release(NULL));
    OK(fitw_fit_release(NULL));
    OK(fitw_context_release(NULL));
    OK(fitw_context_create(NULL, &gone));
    OK(fitw_context_release(gone));
    IS(FITW_E_HANDLE, fitw_scan_noise(gone, scan, &number));
    TRUE_(number == 5.0 && none == NULL);
}

static void structs(fitw_scan *scan)
{
    fitw_scan_info info = FITW_ZERO;
    grown_options options;
    fitw_region *region = NULL;
    fitw_fit *fit = NULL;
    struct {
        fitw_scan_info info;
        uint64_t later[2];
    } larger;
    OK(fitw_region_all(ctx, scan, &region));
    REFUSED(FITW_E_ARGUMENT, fitw_scan_describe(ctx, scan, NULL));
    REFUSED(FITW_E_ARGUMENT, fitw_scan_describe(ctx, scan, &info));
    info.struct_size = 4;
    REFUSED(FITW_E_ARGUMENT, fitw_scan_describe(ctx, scan, &info));
    info.struct_size = 0xcdcdcdcd;
    REFUSED(FITW_E_ARGUMENT, fitw_scan_describe(ctx, scan, &info));
    TRUE_(info.point_count == 0);
    /* A result struct of a later version: what is not known is zero, nothing behind it is written. */
    memset(&larger, 0x55, sizeof larger);
    larger.info.struct_size = sizeof larger.info + 8;
    OK(fitw_scan_describe(ctx, scan, &larger.info));
    TRUE_(larger.info.point_count > 0 && larger.later[0] == 0 && larger.later[1] == 0x5555555555555555u);
    TRUE_(larger.info.struct_size == sizeof larger.info + 8);
    /* An option of a later version: fine as long as it is not used. */
    memset(&options, 0, sizeof options);
    options.known.struct_size = sizeof options;
    OK(fitw_fit_region(ctx, text("builtin.plane"), region, &options.known, &fit));
    OK(fitw_fit_release(fit));
    fit = NULL;
    options.later = 1;
    REFUSED(FITW_E_UNSUPPORTED, fitw_fit_region(ctx, text("builtin.plane"), region, &options.known, &fit));
    options.later = 0;
    options.known.flags = 0x80;
    REFUSED(FITW_E_ARGUMENT, fitw_fit_region(ctx, text("builtin.plane"), region, &options.known, &fit));
    options.known.flags = 0;
    options.known.criterion = 77;
    REFUSED(FITW_E_ARGUMENT, fitw_fit_region(ctx, text("builtin.plane"), region, &options.known, &fit));
    options.known.criterion = 0;
    options.known.constraint_count = 1;
    REFUSED(FITW_E_ARGUMENT, fitw_fit_region(ctx, text("builtin.plane"), region, &options.known, &fit));
    TRUE_(fit == NULL);
    OK(fitw_region_release(region));
}

/* A program of interface 1.0 knows less of the structs: what lies behind its part is not read nor written. */
static void structs_of_the_first_version(fitw_scan *scan)
{
    fitw_region *region = NULL;
    fitw_fit *fit = NULL;
    fitw_fit_options options;
    fitw_quality quality;
    double later;
    memset(&options, 0x55, sizeof options);
    memset(&options, 0, 40);
    memset(&quality, 0x55, sizeof quality);
    memset(&later, 0x55, sizeof later);
    options.struct_size = 40, quality.struct_size = 88;
    OK(fitw_region_all(ctx, scan, &region));
    OK(fitw_fit_region(ctx, text("builtin.plane"), region, &options, &fit));
    OK(fitw_fit_quality(ctx, fit, &quality));
    TRUE_(quality.points > 0 && quality.condition > 0.0);
    TRUE_(memcmp(&quality.effective_points, &later, 8) == 0 && quality.criterion == 0x55555555);
    quality.struct_size = 87;
    REFUSED(FITW_E_ARGUMENT, fitw_fit_quality(ctx, fit, &quality));
    OK(fitw_fit_release(fit));
    OK(fitw_region_release(region));
}

static void arrays(const machine *m)
{
    fitw_mesh mesh = mesh_of(m), bad;
    fitw_scan *scan = NULL;
    double points[9] = {0, 0, 0, 1, 0, 0, 0, 1, 0};
    uint32_t triangle[3] = {0, 1, 2};
    char space[64] = {0};
    REFUSED(FITW_E_ARGUMENT, fitw_scan_create(ctx, NULL, &scan));
    REFUSED(FITW_E_ARGUMENT, fitw_scan_create(ctx, &mesh, NULL));
    bad = mesh, bad.points = NULL;
    REFUSED(FITW_E_ARGUMENT, fitw_scan_create(ctx, &bad, &scan));
    bad = mesh, bad.points = (const char *)m->points + 1;
    REFUSED(FITW_E_ARGUMENT, fitw_scan_create(ctx, &bad, &scan));
    bad = mesh, bad.point_stride = 12;
    REFUSED(FITW_E_ARGUMENT, fitw_scan_create(ctx, &bad, &scan));
    bad = mesh, bad.point_stride = 25;
    REFUSED(FITW_E_ARGUMENT, fitw_scan_create(ctx, &bad, &scan));
    bad = mesh, bad.point_count = 0;
    REFUSED(FITW_E_ARGUMENT, fitw_scan_create(ctx, &bad, &scan));
    bad = mesh, bad.point_count = SIZE_MAX / 24;
    REFUSED(FITW_E_ARGUMENT, fitw_scan_create(ctx, &bad, &scan));
    bad = mesh, bad.point_count = SIZE_MAX;
    REFUSED(FITW_E_ARGUMENT, fitw_scan_create(ctx, &bad, &scan));
    bad = mesh, bad.triangle_count = SIZE_MAX / 8;
    REFUSED(FITW_E_ARGUMENT, fitw_scan_create(ctx, &bad, &scan));
    bad = mesh, bad.triangle_stride = SIZE_MAX - 3;
    REFUSED(FITW_E_ARGUMENT, fitw_scan_create(ctx, &bad, &scan));
    bad = mesh, bad.triangles = (const uint32_t *)(const void *)(space + 2);
    REFUSED(FITW_E_ARGUMENT, fitw_scan_create(ctx, &bad, &scan));
    bad = mesh, bad.point_scalar = 7;
    REFUSED(FITW_E_ARGUMENT, fitw_scan_create(ctx, &bad, &scan));
    bad = mesh, bad.unit = -1;
    REFUSED(FITW_E_ARGUMENT, fitw_scan_create(ctx, &bad, &scan));
    bad = mesh, bad.flags = 1u << 31;
    REFUSED(FITW_E_ARGUMENT, fitw_scan_create(ctx, &bad, &scan));
    bad = mesh, bad.points = points, bad.point_count = 3, bad.triangles = triangle, bad.triangle_count = 1;
    triangle[2] = 3;
    REFUSED(FITW_E_ARGUMENT, fitw_scan_create(ctx, &bad, &scan));
    triangle[2] = 2, points[4] = NAN;
    REFUSED(FITW_E_ARGUMENT, fitw_scan_create(ctx, &bad, &scan));
    points[4] = 1e300;
    REFUSED(FITW_E_ARGUMENT, fitw_scan_create(ctx, &bad, &scan));
    TRUE_(scan == NULL);
}

static void texts_and_numbers(fitw_scan *scan)
{
    const double infinite[3] = {0, INFINITY, 0};
    double outside[3] = {1000, 1000, 1000};
    fitw_pose skewed = {{1, 1, 0, 0, 1, 0, 0, 0, 1}, {0, 0, 0}};
    fitw_pose mirrored = {{-1, 0, 0, 0, 1, 0, 0, 0, 1}, {0, 0, 0}};
    fitw_str s = FITW_ZERO, wild = {"abc", SIZE_MAX - 1}, bytes = {"\xff\xfe", 2};
    fitw_scan *none = NULL;
    fitw_region *region = NULL;
    fitw_shape shape = FITW_ZERO;
    const double *view = NULL;
    uint32_t id = 9;
    REFUSED(FITW_E_ARGUMENT, fitw_scan_read(ctx, wild, FITW_UNIT_MM, NULL, &none));
    REFUSED(FITW_E_ARGUMENT, fitw_scan_read(ctx, bytes, FITW_UNIT_MM, NULL, &none));
    s.len = 3;
    REFUSED(FITW_E_ARGUMENT, fitw_scan_read(ctx, s, FITW_UNIT_MM, NULL, &none));
    REFUSED(FITW_E_ARGUMENT, fitw_scan_read(ctx, text("a.stl"), 0, NULL, &none));
    REFUSED(FITW_E_IO, fitw_scan_read(ctx, text(""), FITW_UNIT_MM, NULL, &none));
    REFUSED(FITW_E_ARGUMENT, fitw_scan_note(ctx, scan, 0, &s));
    REFUSED(FITW_E_ARGUMENT, fitw_scan_nearest(ctx, scan, infinite, &id, NULL));
    REFUSED(FITW_E_ARGUMENT, fitw_scan_nearest(ctx, scan, NULL, &id, NULL));
    REFUSED(FITW_E_ARGUMENT, fitw_scan_move(ctx, scan, &skewed, &none));
    REFUSED(FITW_E_ARGUMENT, fitw_scan_move(ctx, scan, &mirrored, &none));
    REFUSED(FITW_E_ARGUMENT, fitw_scan_points_view(ctx, scan, &view, NULL));
    REFUSED(FITW_E_PICK_OFF_SURFACE, fitw_region_grow(ctx, scan, outside, FITW_KIND_PLANE, NULL, &region));
    REFUSED(FITW_E_ARGUMENT, fitw_region_grow(ctx, scan, outside, FITW_KIND_LINE, NULL, &region));
    REFUSED(FITW_E_ARGUMENT, fitw_region_grow(ctx, scan, outside, 55, NULL, &region));
    REFUSED(FITW_E_EMPTY_REGION, fitw_region_in_sphere(ctx, scan, outside, 1.0, &region));
    REFUSED(FITW_E_ARGUMENT, fitw_region_in_sphere(ctx, scan, outside, -1.0, &region));
    REFUSED(FITW_E_ARGUMENT, fitw_region_from_ids(ctx, scan, &(uint32_t){4000000000u}, 1, &region));
    shape.struct_size = sizeof shape;
    shape.kind = FITW_KIND_CYLINDER;
    shape.size_1 = 1.0;
    REFUSED(FITW_E_ARGUMENT, fitw_region_near_shape(ctx, scan, &shape, 1.0, &region));
    shape.direction[0] = 1.0, shape.size_1 = -1.0;
    REFUSED(FITW_E_ARGUMENT, fitw_region_near_shape(ctx, scan, &shape, 1.0, &region));
    TRUE_(none == NULL && region == NULL && id == 9 && view == NULL);
}

int main(void)
{
    machine m = make_machine();
    fitw_mesh mesh = mesh_of(&m);
    fitw_context_options options = FITW_ZERO;
    fitw_context *none = NULL;
    fitw_scan *scan = NULL;
    IS(FITW_E_ARGUMENT, fitw_context_create(NULL, NULL));
    IS(FITW_E_ARGUMENT, fitw_context_create(&options, &none));
    options.struct_size = sizeof options;
    options.threads = 5000;
    IS(FITW_E_ARGUMENT, fitw_context_create(&options, &none));
    options.threads = -7;
    IS(FITW_E_ARGUMENT, fitw_context_create(&options, &none));
    IS(FITW_E_ARGUMENT, fitw_version_text(NULL));
    TRUE_(none == NULL);
    OK(fitw_context_create(NULL, &ctx));
    OK(fitw_scan_create(ctx, &mesh, &scan));
    handles(scan);
    structs(scan);
    structs_of_the_first_version(scan);
    arrays(&m);
    texts_and_numbers(scan);
    OK(fitw_scan_release(scan));
    OK(fitw_context_release(ctx));
    free_machine(&m);
    puts("abuse: ok");
    return 0;
}
