/*
 * A host in C: it holds its own scan, and asks for the machine's axes and a bolt hole, as STEP for its CAD.
 *
 *   cc -std=c99 main.c -lfitwright -lm -o host
 *   ./host front.ply features.step  DECK SIDE BOSS HOLE
 *
 * DECK, SIDE, BOSS and HOLE are picks "x,y,z" in scan coordinates, mm: on the deck (becomes z), on a side
 * (becomes x), on the flat boss that the hole opens in, and on the hole (becomes the origin).
 */
#include <fitwright.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static fitw_context *context;

/* Ends the program with the engine's own words. A CAD add-in would show them. */
static void check(fitw_status status)
{
    char message[512], place[256];
    if (status == FITW_OK)
        return;
    fitw_context_error_message(context, message, sizeof message, NULL);
    fitw_context_error_place(context, place, sizeof place, NULL);
    fprintf(stderr, "%s\n  (%s, status %d)\n", message, place, (int)status);
    exit(1);
}

static fitw_str text(const char *s)
{
    fitw_str t = {s, FITW_NUL};
    return t;
}

/* The host's own mesh: here read from a binary PLY of floats, in an add-in already on the screen. */
typedef struct mesh {
    float *points;
    uint32_t *triangles;
    size_t point_count, triangle_count;
} mesh;

static mesh read_ply(const char *path)
{
    mesh m = {NULL, NULL, 0, 0};
    char line[200];
    size_t i;
    FILE *f = fopen(path, "rb");
    if (f == NULL || fgets(line, sizeof line, f) == NULL || strcmp(line, "ply\n") != 0) {
        fprintf(stderr, "%s is no PLY file\n", path);
        exit(1);
    }
    while (fgets(line, sizeof line, f) != NULL && strcmp(line, "end_header\n") != 0) {
        unsigned long n;
        if (sscanf(line, "element vertex %lu", &n) == 1)
            m.point_count = n;
        if (sscanf(line, "element face %lu", &n) == 1)
            m.triangle_count = n;
    }
    m.points = malloc(m.point_count * 3 * sizeof *m.points);
    m.triangles = malloc(m.triangle_count * 3 * sizeof *m.triangles);
    if (m.points == NULL || m.triangles == NULL || fread(m.points, 12, m.point_count, f) != m.point_count)
        exit(1);
    for (i = 0; i < m.triangle_count; ++i)
        if (fgetc(f) != 3 || fread(m.triangles + 3 * i, 12, 1, f) != 1)
            exit(1);
    fclose(f);
    return m;
}

/* A flat face as a feature: its points grown from a pick, a plane through the inner ones, its outline from
 * all of them. */
static fitw_feature *face(const fitw_scan *scan, const char *name, const double *pick, fitw_region **surface)
{
    fitw_grow_options grow = FITW_ZERO;
    fitw_region *inner;
    fitw_fit *fit;
    fitw_feature *feature;
    grow.struct_size = sizeof grow;
    grow.trim_mm = -1.0; /* edges included */
    check(fitw_region_grow(context, scan, pick, FITW_KIND_PLANE, &grow, surface));
    check(fitw_region_trim(context, *surface, 0.0, &inner, NULL));
    check(fitw_fit_region(context, text("builtin.plane"), inner, NULL, &fit));
    check(fitw_feature_from_fit(context, text(name), fit, *surface, &feature));
    fitw_fit_release(fit);
    fitw_region_release(inner);
    return feature;
}

static void print(const fitw_feature *feature)
{
    fitw_feature_info info = FITW_ZERO;
    fitw_shape shape = FITW_ZERO;
    fitw_uncertainty u = FITW_ZERO;
    size_t i;
    info.struct_size = sizeof info;
    shape.struct_size = sizeof shape;
    u.struct_size = sizeof u;
    check(fitw_feature_describe(context, feature, &info));
    check(fitw_feature_shape(context, feature, &shape));
    check(fitw_feature_uncertainty(context, feature, NULL, &u));
    printf("%s: at %.4f %.4f %.4f  along %.5f %.5f %.5f  size %.4f  +- %.4f (size %.4f)\n", info.name.ptr,
           shape.point_mm[0], shape.point_mm[1], shape.point_mm[2], shape.direction[0], shape.direction[1],
           shape.direction[2], shape.size_1, u.position_mm, u.size_1);
    for (i = 0; i < info.note_count; ++i) {
        fitw_str note;
        check(fitw_feature_note(context, feature, i, &note));
        printf("  note: %s\n", note.ptr);
    }
}

int main(int argc, char **argv)
{
    fitw_context_options options = FITW_ZERO;
    fitw_mesh arrays = FITW_ZERO;
    fitw_hole_search search = FITW_ZERO;
    fitw_datum_feature datums[3];
    fitw_region *on_deck, *on_side, *on_boss;
    fitw_feature *features[4];
    fitw_scan *scan;
    fitw_datum *datum;
    fitw_pose machine_from_scan;
    double picks[4][3], noise;
    mesh m;
    size_t i;

    if (argc != 7) {
        fprintf(stderr, "usage: host front.ply features.step DECK SIDE BOSS HOLE\n");
        return 64;
    }
    for (i = 0; i < 4; ++i)
        if (sscanf(argv[3 + i], "%lf,%lf,%lf", &picks[i][0], &picks[i][1], &picks[i][2]) != 3)
            return 64;
    if (!FITW_ABI_FITS(fitw_abi_version())) {
        fprintf(stderr, "libfitwright is another version than this program was built for\n");
        return 1;
    }
    options.struct_size = sizeof options;
    options.threads = FITW_THREADS_ALL;
    check(fitw_context_create(&options, &context));

    m = read_ply(argv[1]);
    arrays.struct_size = sizeof arrays;
    arrays.points = m.points;
    arrays.point_scalar = FITW_SCALAR_F32;
    arrays.point_count = m.point_count;
    arrays.triangles = m.triangles;
    arrays.triangle_count = m.triangle_count;
    check(fitw_scan_create(context, &arrays, &scan));
    free(m.points); /* copied: FITW_MESH_BORROW was not set */
    free(m.triangles);
    check(fitw_scan_noise(context, scan, &noise));
    printf("noise %.4f mm\n", noise);

    features[0] = face(scan, "deck", picks[0], &on_deck);
    features[1] = face(scan, "side", picks[1], &on_side);
    features[2] = face(scan, "boss", picks[2], &on_boss);
    search.struct_size = sizeof search;
    search.name = text("hole");
    search.face = features[2];
    search.face_region = on_boss;
    memcpy(search.pick_mm, picks[3], sizeof search.pick_mm);
    check(fitw_feature_find_hole(context, &search, NULL, &features[3], NULL));

    memset(datums, 0, sizeof datums);
    datums[0].feature = features[0];
    datums[0].axis = text("+z");
    datums[1].feature = features[1];
    datums[1].axis = text("+x");
    datums[2].feature = features[3];
    datums[2].sets = text("origin");
    check(fitw_datum_create(context, datums, 3, 0, &datum));
    check(fitw_datum_pose(context, datum, &machine_from_scan));
    check(fitw_step_write(context, text(argv[2]), &machine_from_scan, (const fitw_feature *const *)features, 4,
                          NULL));

    for (i = 0; i < 4; ++i) {
        fitw_feature *moved;
        check(fitw_feature_move(context, features[i], &machine_from_scan, &moved));
        print(moved);
        fitw_feature_release(moved);
        fitw_feature_release(features[i]);
    }
    fitw_region_release(on_deck);
    fitw_region_release(on_side);
    fitw_region_release(on_boss);
    fitw_datum_release(datum);
    fitw_scan_release(scan);
    fitw_context_release(context);
    return 0;
}
