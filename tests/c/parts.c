/* Parts of STEP files against another kernel's values, bolted onto the made-up machine. Takes the folder
 * tests/data/parts, whose kernel.json says what the OCCT kernel finds in each part. */
#include "common.h"

static int near_to(double a, double b, double within) { return fabs(a - b) <= within; }

static fitw_part *read(const char *folder, const char *name, double chord)
{
    fitw_part_options options = FITW_ZERO;
    fitw_part *part = NULL;
    char path[512];
    options.struct_size = sizeof options;
    options.chord_error_mm = chord;
    snprintf(path, sizeof path, "%s/%s", folder, name);
    OK(fitw_part_read(ctx, text(path), &options, &part));
    return part;
}

/* p10_inch_plate.step: 4 x 2 x 0.5 inch, a hole of half an inch at x = 1 inch. */
static void of_an_inch_plate(const char *folder)
{
    fitw_part *part = read(folder, "p10_inch_plate.step", 0.01);
    fitw_part_info info = FITW_ZERO;
    fitw_part_hole_info hole = FITW_ZERO, at = FITW_ZERO;
    fitw_shape shape = FITW_ZERO;
    const double in_hole[3] = {25.4, 1.0, 0.0}, beside[3] = {-25.4, 0.0, 0.0};
    const uint32_t *faces, *corners;
    const double *xyz;
    size_t count, triangles, planes = 0, bores = 0, k, i;
    int32_t reversed;
    info.struct_size = sizeof info, hole.struct_size = at.struct_size = sizeof hole, shape.struct_size = sizeof shape;
    OK(fitw_part_describe(ctx, part, &info));
    TRUE_(info.closed == 1 && info.solid_count == 1 && info.face_count == 7 && info.hole_count == 1);
    TRUE_(near_to(info.volume_mm3 / 63939.45975386514, 1.0, 1e-3) && near_to(info.area_mm2 / 14446.873739548777, 1.0, 1e-3));
    TRUE_(near_to(info.low_mm[0], -50.8, 1e-6) && near_to(info.high_mm[1], 25.4, 1e-6) && near_to(info.high_mm[2], 6.35, 1e-6));
    TRUE_(info.chord_error_mm > 0.0 && info.chord_error_mm <= 0.0101 && strncmp(info.schema.ptr, "AP2", 3) == 0);
    OK(fitw_part_hole(ctx, part, 0, &hole));
    TRUE_(near_to(hole.radius_mm, 6.35, 1e-9) && near_to(hole.depth_mm, 12.7, 1e-9));
    TRUE_(near_to(hole.point_mm[0], 25.4, 1e-9) && near_to(hole.point_mm[1], 0.0, 1e-9));
    TRUE_(near_to(fabs(hole.axis[2]), 1.0, 1e-12));
    IS(FITW_E_ARGUMENT, fitw_part_hole(ctx, part, 1, &hole));
    OK(fitw_part_hole_at(ctx, part, in_hole, &at));
    TRUE_(memcmp(&at, &hole, sizeof at) == 0);
    IS(FITW_E_UNDETERMINED, fitw_part_hole_at(ctx, part, beside, &at));
    for (k = 0; k < info.face_count; ++k) {
        OK(fitw_part_face(ctx, part, k, &shape, &reversed));
        planes += shape.kind == FITW_KIND_PLANE;
        if (shape.kind == FITW_KIND_CYLINDER) {
            ++bores;
            /* The material is outside the wall: its outside is against the cylinder's own normal. */
            TRUE_(near_to(shape.size_1, 6.35, 1e-9) && reversed == 1);
        }
    }
    TRUE_(planes == 6 && bores == 1);
    IS(FITW_E_ARGUMENT, fitw_part_face(ctx, part, k, &shape, NULL));
    /* Every triangle lies on the face it is said to be of. */
    OK(fitw_part_points_view(ctx, part, &xyz, &count));
    OK(fitw_part_triangles_view(ctx, part, &corners, &triangles));
    OK(fitw_part_face_of_triangle_view(ctx, part, &faces, &count));
    TRUE_(count == triangles && triangles == info.triangle_count && count > 12);
    for (k = 0; k < triangles; ++k) {
        OK(fitw_part_face(ctx, part, faces[k], &shape, NULL));
        for (i = 0; i < 3; ++i) {
            double off;
            OK(fitw_shape_distances(ctx, &shape, xyz + 3 * corners[3 * k + i], 1, 0, &off));
            TRUE_(fabs(off) < 1e-6);
        }
    }
    OK(fitw_part_release(part));
}

/* p03_boss_counterbore_chamfer.step: a counterbored boss and six holes on a circle of 64 mm. */
static void of_a_boss(const char *folder)
{
    fitw_part *part = read(folder, "p03_boss_counterbore_chamfer.step", 0.01);
    fitw_part_info info = FITW_ZERO;
    fitw_part_hole_info hole = FITW_ZERO;
    size_t k, small = 0, stepped = 0;
    info.struct_size = sizeof info, hole.struct_size = sizeof hole;
    OK(fitw_part_describe(ctx, part, &info));
    TRUE_(info.face_count == 22 && info.hole_count == 8 && near_to(info.volume_mm3 / 69579.53332507495, 1.0, 1e-3));
    for (k = 0; k < info.hole_count; ++k) {
        OK(fitw_part_hole(ctx, part, k, &hole));
        if (near_to(hole.radius_mm, 2.75, 1e-9)) {
            TRUE_(near_to(hypot(hole.point_mm[0], hole.point_mm[1]), 32.0, 1e-9));
            ++small;
        } else {
            TRUE_(near_to(hole.radius_mm, 11.0, 1e-9) || near_to(hole.radius_mm, 6.6, 1e-9));
            ++stepped;
        }
    }
    TRUE_(small == 6 && stepped == 2);
    OK(fitw_part_release(part));
    {
        fitw_part *none = NULL;
        char path[512];
        IS(FITW_E_IO, fitw_part_read(ctx, text("/no/such/part.step"), NULL, &none));
        snprintf(path, sizeof path, "%s/kernel.json", folder);
        IS(FITW_E_UNKNOWN_FORMAT, fitw_part_read(ctx, text(path), NULL, &none));
        TRUE_(none == NULL);
    }
}

/* A tetrahedron of 10 mm along each axis, inside out. */
static void inside_out(void)
{
    const double points[12] = {0, 0, 0, 10, 0, 0, 0, 10, 0, 0, 0, 10};
    const uint32_t triangles[12] = {0, 1, 2, 0, 3, 1, 0, 2, 3, 1, 3, 2};
    fitw_mesh mesh = FITW_ZERO;
    fitw_part *part = NULL;
    fitw_part_info info = FITW_ZERO;
    fitw_str s;
    mesh.struct_size = sizeof mesh, mesh.points = points, mesh.point_count = 4;
    mesh.triangles = triangles, mesh.triangle_count = 4;
    info.struct_size = sizeof info;
    OK(fitw_part_create(ctx, &mesh, text(""), &part));
    OK(fitw_part_describe(ctx, part, &info));
    TRUE_(info.closed == 1 && near_to(info.volume_mm3, 1000.0 / 6.0, 1e-9) && info.note_count == 1);
    OK(fitw_part_note(ctx, part, 0, &s));
    TRUE_(s.len > 10 && strlen(s.ptr) == s.len);
    IS(FITW_E_ARGUMENT, fitw_part_note(ctx, part, 1, &s));
    {
        /* Twice in one file, the second time a metre away: read back, the box says so. */
        fitw_pose away = {{1, 0, 0, 0, 1, 0, 0, 0, 1}, {1000, 0, 0}};
        fitw_body bodies[2] = {FITW_ZERO, FITW_ZERO};
        fitw_part *back = NULL;
        bodies[0].name = text("here"), bodies[0].part = part;
        bodies[1].name = text("away"), bodies[1].part = part, bodies[1].pose = &away;
        bodies[1].colour = 0x4080ff, bodies[1].has_colour = 1;
        OK(fitw_meshes_write(ctx, text("two.glb"), bodies, 2, 0));
        OK(fitw_part_read(ctx, text("two.glb"), NULL, &back));
        OK(fitw_part_describe(ctx, back, &info));
        TRUE_(info.closed == 1 && info.solid_count == 2 && near_to(info.volume_mm3, 2000.0 / 6.0, 1e-6));
        TRUE_(near_to(info.low_mm[0], 0.0, 1e-9) && near_to(info.high_mm[0], 1010.0, 1e-9));
        OK(fitw_part_release(back));
        bodies[1].colour = 0x1000000;
        IS(FITW_E_ARGUMENT, fitw_meshes_write(ctx, text("two.3mf"), bodies, 2, 0));
        bodies[1].colour = 0, bodies[1].name = text("here");
        IS(FITW_E_DUPLICATE_NAME, fitw_meshes_write(ctx, text("two.3mf"), bodies, 2, 0));
        bodies[1].part = NULL;
        IS(FITW_E_ARGUMENT, fitw_meshes_write(ctx, text("two.3mf"), bodies, 2, 0));
        IS(FITW_E_UNKNOWN_FORMAT, fitw_meshes_write(ctx, text("one.dxf"), bodies, 1, 0));
        remove("two.glb");
    }
    OK(fitw_part_release(part));
}

typedef struct machine_seen {
    fitw_scan *scan;
    fitw_region *deck_region;
    fitw_feature *deck, *hole;
} machine_seen;

static machine_seen see(const machine *m)
{
    const double on_deck[3] = {20.0, 0.0, 0.1}, in_hole[3] = {7.9, 0.0, -3.0};
    fitw_mesh mesh = mesh_of(m);
    fitw_grow_options grow = FITW_ZERO;
    fitw_hole_search search = FITW_ZERO;
    fitw_region *inner = NULL;
    fitw_fit *fit = NULL;
    machine_seen seen = {NULL, NULL, NULL, NULL};
    grow.struct_size = sizeof grow, grow.trim_mm = -1.0;
    OK(fitw_scan_create(ctx, &mesh, &seen.scan));
    OK(fitw_region_grow(ctx, seen.scan, on_deck, FITW_KIND_PLANE, &grow, &seen.deck_region));
    OK(fitw_region_trim(ctx, seen.deck_region, 0.0, &inner, NULL));
    OK(fitw_fit_region(ctx, text("builtin.plane"), inner, NULL, &fit));
    OK(fitw_feature_from_fit(ctx, text("deck"), fit, seen.deck_region, &seen.deck));
    search.struct_size = sizeof search, search.name = text("hole");
    search.face = seen.deck, search.face_region = seen.deck_region;
    memcpy(search.pick_mm, in_hole, sizeof in_hole);
    OK(fitw_feature_find_hole(ctx, &search, NULL, &seen.hole, NULL));
    OK(fitw_region_release(inner));
    OK(fitw_fit_release(fit));
    return seen;
}

/* The only finding of a kind, but for those of all seats and all bolts at once. */
static fitw_finding finding_of(fitw_check *check, int32_t kind)
{
    fitw_finding f = FITW_ZERO, found = FITW_ZERO;
    size_t count, k, hits = 0;
    f.struct_size = sizeof f;
    OK(fitw_check_verdict(ctx, check, NULL, &count));
    for (k = 0; k < count; ++k) {
        OK(fitw_check_finding(ctx, check, k, &f));
        if (f.kind == kind && strncmp(f.name.ptr, "all ", 4) != 0)
            found = f, ++hits;
    }
    TRUE_(hits == 1);
    return found;
}

/* The plate on the deck, its hole `offset` beside the machine's, an M12 bolt through both. */
/* The length of a mount's own bolt goes before that of all. */
static void own_bolt_length(fitw_scene scene)
{
    const double own = 77.0;
    fitw_tool_limits tools = FITW_ZERO;
    fitw_finding f = FITW_ZERO;
    fitw_finding_number n = FITW_ZERO;
    fitw_check *check = NULL;
    size_t count, i, k, told;
    int old;
    tools.bolt_length_mm = 30.0, tools.bolt_lengths_mm = &own;
    scene.tools = &tools;
    f.struct_size = sizeof f, n.struct_size = sizeof n;
    for (old = 0; old < 2; ++old) {
        /* 56 bytes are the struct of 1.4: what came later is not read. */
        tools.struct_size = old ? 56 : (uint32_t)sizeof tools;
        OK(fitw_check_run(ctx, &scene, &check));
        OK(fitw_check_verdict(ctx, check, NULL, &count));
        for (i = told = 0; i < count; ++i) {
            OK(fitw_check_finding(ctx, check, i, &f));
            for (k = 0; f.kind == FITW_CHECK_TOOL_ACCESS && k < f.number_count; ++k) {
                OK(fitw_check_number(ctx, check, i, k, &n));
                if (strcmp(n.name.ptr, "bolt_length") == 0) TRUE_(++told && n.value == (old ? 30.0 : own));
            }
        }
        TRUE_(told == 1);
        OK(fitw_check_release(check));
    }
    tools.struct_size = sizeof tools, check = NULL;
    tools.bolt_lengths_mm = &(const double){-1.0};
    IS(FITW_E_ARGUMENT, fitw_check_run(ctx, &scene, &check));
    TRUE_(check == NULL);
}

static void bolted_on(const machine_seen *seen, fitw_part *plate, double offset, const fitw_length_error *error,
                      fitw_finding *bolt, fitw_finding *seat)
{
    /* The plate's underside is z = -6.35, its hole at x = 25.4. */
    const fitw_pose pose = {{1, 0, 0, 0, 1, 0, 0, 0, 1}, {25.4 + offset, 0, -6.35}};
    fitw_feature *features[2] = {NULL, NULL};
    fitw_scene_scan scan;
    fitw_scene_feature of[2];
    fitw_mount mount = FITW_ZERO;
    fitw_scene scene = FITW_ZERO;
    fitw_check *check = NULL;
    OK(fitw_feature_move(ctx, seen->deck, &pose, &features[0]));
    OK(fitw_feature_move(ctx, seen->hole, &pose, &features[1]));
    memset(&scan, 0, sizeof scan);
    memset(of, 0, sizeof of);
    scan.scan = seen->scan, scan.name = text("front"), scan.machine_from_scan = pose;
    of[0].feature = features[0], of[0].surface = seen->deck_region, of[0].is_seat = 1;
    of[1].feature = features[1], of[1].bolt = text("M12");
    mount.hole = 1, mount.near_mm[0] = 25.4;
    scene.struct_size = sizeof scene, scene.part = plate;
    scene.scans = &scan, scene.scan_count = 1, scene.length_errors = error;
    scene.features = of, scene.feature_count = 2;
    scene.mounts = &mount, scene.mount_count = 1;
    OK(fitw_check_run(ctx, &scene, &check));
    *bolt = finding_of(check, FITW_CHECK_HOLE);
    *seat = finding_of(check, FITW_CHECK_SEAT);
    TRUE_(strcmp(bolt->name.ptr, "hole") == 0 && strcmp(bolt->kind_name.ptr, "hole") == 0);
    OK(fitw_check_release(check));
    if (error == NULL) {
        fitw_check *none = NULL;
        own_bolt_length(scene);
        mount.near_mm[0] = -30.0; /* no hole of the plate there */
        IS(FITW_E_UNDETERMINED, fitw_check_run(ctx, &scene, &none));
        mount.near_mm[0] = 25.4, mount.hole = 2;
        IS(FITW_E_ARGUMENT, fitw_check_run(ctx, &scene, &none));
        mount.hole = 1, of[1].bolt = text("M12.5");
        IS(FITW_E_ARGUMENT, fitw_check_run(ctx, &scene, &none));
        of[1].bolt = text("M12"), scene.length_errors = &(fitw_length_error){-1.0, 0.0};
        IS(FITW_E_ARGUMENT, fitw_check_run(ctx, &scene, &none));
        TRUE_(none == NULL);
    }
    OK(fitw_feature_release(features[0]));
    OK(fitw_feature_release(features[1]));
}

static void mounts(const machine *m, const char *folder)
{
    const fitw_length_error error = {0.03, 0.0002};
    machine_seen seen = see(m);
    fitw_part *plate = read(folder, "p10_inch_plate.step", 0.01);
    fitw_finding near_, far_, stated, seat;
    double deviation, at;
    /* An M12 bolt has (12.7 - 12) / 2 = 0.35 mm of play in half an inch. */
    bolted_on(&seen, plate, 0.1, NULL, &near_, &seat);
    TRUE_(near_to(near_.value_mm, 0.25, 0.01) && near_.verdict == FITW_VERDICT_PASS && near_.uncertainty_mm < 0.05);
    TRUE_(seat.verdict == FITW_VERDICT_PASS && seat.value_mm < 0.02 && seat.points > 1000);
    bolted_on(&seen, plate, 0.5, NULL, &far_, &seat);
    TRUE_(near_to(far_.value_mm, -0.15, 0.01) && far_.verdict == FITW_VERDICT_FAIL && far_.remedy.len > 10);
    /* The maker's error counts from the machine's origin: its variance is added to all else. */
    bolted_on(&seen, plate, 0.1, &error, &stated, &seat);
    at = sqrt(stated.to_mm[0] * stated.to_mm[0] + stated.to_mm[1] * stated.to_mm[1] + stated.to_mm[2] * stated.to_mm[2]);
    OK(fitw_length_error_deviation(ctx, &error, at, &deviation));
    TRUE_(at > 25.0 && near_to(stated.uncertainty_mm, hypot(near_.uncertainty_mm, 2.0 * deviation), 1e-9));
    TRUE_(stated.value_mm == near_.value_mm);
    OK(fitw_part_release(plate));
    OK(fitw_feature_release(seen.hole));
    OK(fitw_feature_release(seen.deck));
    OK(fitw_region_release(seen.deck_region));
    OK(fitw_scan_release(seen.scan));
}

/* Six targets of which one was knocked: the join goes by the others and says so. */
static void a_moved_target(void)
{
    static const double to[18] = {0, 0, 0, 100, 0, 0, 0, 60, 0, 30, 20, 50, -40, 10, 25, 70, 80, 35};
    double from[18];
    fitw_join *join = NULL;
    fitw_join_info info = FITW_ZERO;
    fitw_pose pose;
    fitw_str s;
    memcpy(from, to, sizeof from);
    from[16] += 2.0;
    info.struct_size = sizeof info;
    OK(fitw_join_by_targets(ctx, to, 6, 0, from, 6, 0, NULL, &join));
    OK(fitw_join_describe(ctx, join, &info));
    OK(fitw_join_pose(ctx, join, &pose));
    TRUE_(info.pair_count == 5 && info.note_count == 1 && near_to(pose.translation_mm[1], 0.0, 1e-9));
    OK(fitw_join_note(ctx, join, 0, &s));
    TRUE_(strlen(s.ptr) == s.len && strstr(s.ptr, "target 5") != NULL);
    IS(FITW_E_ARGUMENT, fitw_join_note(ctx, join, 1, &s));
    OK(fitw_join_release(join));
}

int main(int argc, char **argv)
{
    machine m = make_machine();
    TRUE_(argc == 2);
    OK(fitw_context_create(NULL, &ctx));
    of_an_inch_plate(argv[1]);
    of_a_boss(argv[1]);
    inside_out();
    mounts(&m, argv[1]);
    a_moved_target();
    OK(fitw_context_release(ctx));
    free_machine(&m);
    puts("parts: ok");
    return 0;
}
