/* fitwright.hpp, what interface.cpp leaves: every call once, against what is known. Takes a folder to write to
 * and the folder tests/data/parts, whose kernel.json says what the OCCT kernel finds in its parts. */
#include "common.hpp"

using namespace fitwright;

static const Point ON_DECK = {{20.0, 0.0, 0.1}};
static const Point ON_SIDE = {{40.0, 0.0, -15.0}};
static const Point IN_HOLE = {{7.9, 0.0, -3.0}};
static const std::size_t DECK_AND_WALL = 70 * 180;

static bool near_to(double a, double b, double within) { return std::fabs(a - b) <= within; }

template <class F> static fitw_status status_of(F f) {
    try {
        f();
    } catch (const Error &e) {
        return e.status();
    }
    return FITW_OK;
}

static void library(const Context &context) {
    TRUE_(fits() && has("group-fit") && has("step") && !has("no such thing"));
    TRUE_(!version().empty() && build().find(version()) != std::string::npos);
    TRUE_(build().find("C interface 1.") != std::string::npos);
    std::vector<fitw_fitter_info> fitters = context.fitters();
    bool cylinder = false;
    for (const fitw_fitter_info &f : fitters) cylinder = cylinder || str(f.id) == "builtin.cylinder";
    TRUE_(fitters.size() >= 7 && cylinder);
    TRUE_(context.job_schema()[0] == '{' && context.job_schema().find("\"feature\"") != std::string::npos);
    const double xyz[] = {0, 0, 7, 3, 4, -2};
    fitw_shape ball = sized<fitw_shape>();
    ball.kind = FITW_KIND_SPHERE;
    ball.size_1 = 5.0;
    std::vector<double> off = context.distances(ball, xyz);
    TRUE_(near_to(off[0], 2.0, 1e-12) && near_to(off[1], std::sqrt(29.0) - 5.0, 1e-12));
}

static void cancelling(const Machine &machine) {
    Context context = Context::create();
    Mesh mesh(machine.points, machine.triangles);
    context.cancel();
    TRUE_(status_of([&] { context.scan(mesh); }) == FITW_E_CANCELLED);
    context.resume();
    TRUE_(context.memory() == 0);
    Scan scan = context.scan(mesh);
    TRUE_(context.memory() >= machine.points.size() * 8 + machine.triangles.size() * 4);
    scan.reset();
    TRUE_(!scan && context.memory() == 0);
    Scan other = context.scan(mesh);
    fitw_scan *raw = other.release();
    TRUE_(!other && fitw_scan_release(raw) == FITW_OK);
}

static void regions(const Scan &scan, const Machine &machine) {
    TRUE_(scan.all().ids().size() * 3 == machine.points.size());
    TRUE_(scan.triangles().size() == machine.triangles.size() && scan.triangles()[2] == machine.triangles[2]);
    TRUE_(scan.normals().size() == machine.points.size() && near_to(scan.normals()[3 * 50 * 180 + 2], 1.0, 0.01));
    TRUE_(scan.resolution() > 0.2 && scan.resolution() < 1.2);
    TRUE_(status_of([&] { scan.note(0); }) == FITW_E_ARGUMENT);
    const std::vector<uint32_t> numbers = {9, 4, 9};
    Region some = scan.from_ids(numbers);
    TRUE_(some.ids().size() == 2 && some.ids()[0] == 4);
    /* The rim and the first rings of the wall, and nothing of the deck farther out. */
    std::size_t within = 0;
    for (std::size_t i = 0; i < machine.points.size(); i += 3)
        within += std::hypot(std::hypot(machine.points[i], machine.points[i + 1]), machine.points[i + 2]) <= 8.5;
    TRUE_(scan.in_sphere(Point{{0, 0, 0}}, 8.5).ids().size() == within);
    fitw_shape side = sized<fitw_shape>();
    side.kind = FITW_KIND_PLANE;
    side.point_mm[0] = 40.0;
    side.direction[0] = 1.0;
    TRUE_(scan.near_shape(side, 0.1).ids().size() == SIDE * SIDE);
    TRUE_(scan.near_shape(side, 0.1).ids()[0] == DECK_AND_WALL);
}

static Region whole(const Scan &scan, const Point &pick, int32_t kind) {
    fitw_grow_options options = sized<fitw_grow_options>();
    options.trim_mm = -1.0;
    return scan.grow(pick, kind, options);
}

static void fits_and_features(const Context &context, const Scan &scan) {
    Region on_deck = whole(scan, ON_DECK, FITW_KIND_PLANE), on_side = whole(scan, ON_SIDE, FITW_KIND_PLANE);
    Region wall = scan.grow(IN_HOLE, FITW_KIND_CYLINDER);
    Fit bore = wall.fit("builtin.cylinder"), plane = on_deck.trim().fit("builtin.plane");
    TRUE_(bore.parameter_count() == 3 && bore.rejected().size() == bore.quality().rejected);
    TRUE_(bore.quality().evidence_count > 0 && bore.contact_points().empty());
    /* It is a cylinder: nothing speaks for another shape. */
    for (std::size_t k = 0; k < bore.quality().evidence_count; ++k)
        TRUE_(bore.evidence(k).probability > 1e-4 && str(bore.evidence(k).against).size() > 2);
    TRUE_(status_of([&] { bore.evidence(99); }) == FITW_E_ARGUMENT);

    FitOptions zone;
    zone.criterion = FITW_CRITERION_MINIMUM_ZONE;
    Fit narrow = wall.fit("builtin.cylinder", zone);
    Feature named = narrow.feature("bore", wall);
    TRUE_(narrow.contact_points().size() == 3 * narrow.contacts().size());
    fitw_pose lift = identity();
    lift.translation_mm[2] = 4.0;
    TRUE_(near_to(named.move(lift).contact_points()[2], narrow.contact_points()[2] + 4.0, 1e-12));

    Group group = context.fit_group({{FITW_KIND_PLANE, on_deck}, {FITW_KIND_CYLINDER, wall}}, FITW_GROUP_PARALLEL);
    const fitw_shape a = group.fits[0].shape(), b = group.fits[1].shape();
    TRUE_(group.cost.freedoms == 2 && group.cost.probability > 1e-4);
    TRUE_(near_to(std::fabs(a.direction[0] * b.direction[0] + a.direction[1] * b.direction[1] +
                            a.direction[2] * b.direction[2]), 1.0, 1e-14));
    TRUE_(status_of([&] { context.fit_group({{FITW_KIND_PLANE, on_deck}}, FITW_GROUP_COPLANAR); }) == FITW_E_ARGUMENT);
    fitw_points points = sized<fitw_points>();
    points.points = scan.points().data();
    points.count = 24 * 180; /* the wall */
    Group of_host = context.fit_group({{FITW_KIND_CYLINDER, points}, {FITW_KIND_CYLINDER, wall}}, FITW_GROUP_COAXIAL);
    TRUE_(of_host.fits.size() == 2 && near_to(of_host.fits[0].shape().size_1, HOLE_RADIUS, 0.003));

    Feature deck = plane.feature("deck", on_deck), side = on_side.trim().fit("builtin.plane").feature("side", on_side);
    Noise pooled = context.pool_noise({&plane, &bore}, {&side}), independent = context.independent_noise();
    TRUE_(status_of([&] { context.pool_noise({}); }) == FITW_E_UNDETERMINED);
    FitOptions known;
    known.noise = independent.get();
    Fit white = wall.fit("builtin.cylinder", known);
    /* Independent noise on a full cylinder: the radius is the mean of n distances. */
    const fitw_quality q = white.quality();
    TRUE_(near_to(white.uncertainty().size_1 / (2.0 * q.sigma_mm / std::sqrt(static_cast<double>(q.points))), 1.0, 0.02));
    known.noise = pooled.get();
    TRUE_(near_to(wall.fit("builtin.cylinder", known).uncertainty().size_1 / white.uncertainty().size_1, 1.0, 0.2));
    const fitw_covariance reference = deck.covariance();
    FitOptions held;
    held.constraints.push_back(constraint(FITW_CONSTRAINT_PARALLEL, Point{{a.direction[0], a.direction[1], a.direction[2]}}));
    TRUE_(wall.fit("builtin.cylinder", held).uncertainty().tilt_rad == 0.0);
    held.reference = &reference;
    TRUE_(near_to(wall.fit("builtin.cylinder", held).uncertainty().tilt_rad / deck.uncertainty().tilt_rad, 1.0, 1e-3));

    const fitw_length_error error = length_error(0.02, 0.0001);
    TRUE_(near_to(context.deviation(error, 100.0), 0.03 / std::sqrt(3.0), 1e-15));
    Feature wide = named.add_length_error(error);
    TRUE_(near_to(wide.uncertainty().size_1, std::hypot(named.uncertainty().size_1, context.deviation(error, 2.0 * named.shape().size_1)), 1e-12));

    TRUE_(str(deck.rename("table").describe().name) == "table" && deck.evidence(0).probability > 1e-4);
    Feature lower = deck.move(lift).rename("upper");
    TRUE_(near_to(deck.midplane("middle", lower).shape().point_mm[2], 2.0, 0.01));
    TRUE_(status_of([&] { deck.note(99); }) == FITW_E_ARGUMENT);
    TRUE_(deck.parameter(0).value_kind == FITW_VALUE_POINT && named.parameter("axis").value_kind == FITW_VALUE_DIRECTION);
    Datum datum = context.datum({{deck, "+z"}, {side, "+x"}, {named, "", "origin"}});
    TRUE_(str(datum.squareness(0).a) == "deck" && std::fabs(datum.squareness(0).deviation_rad) < 0.001);
    TRUE_(datum.covariance().matrix[0] > 0.0);
}

/* A saved datum system of a plane alone: z = 0, known to 1 um. */
static std::string saved_deck() {
    std::string matrix = "1e-6";
    for (int k = 1; k < 36; ++k)
        matrix += k == 8 || k == 15 ? ",1e-6" : k == 21 || k == 26 || k == 30 ? ",1e-9" : ",0";
    return R"({"fitwright_datum": 1, "length": "mm", "angle": "rad", "job": "first day",
        "machine_from_scan": [[1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 1, 0], [0, 0, 0, 1]],
        "datums": [{"feature": "deck", "axis": "+z"}],
        "features": [{"name": "deck", "kind": "plane", "point": [0, 0, 0], "direction": [0, 0, 1],
        "middle": [0, 0, 0], "extent": 40, "covariance": {"at": [0, 0, 0], "matrix": [)" + matrix + "]}}]}";
}

static void joins(const Context &context, const Scan &scan) {
    fitw_pose nudge = identity();
    nudge.translation_mm[0] = 0.2, nudge.translation_mm[1] = -0.1, nudge.translation_mm[2] = 0.15;
    Scan moved = scan.move(nudge);
    fitw_join_options options = sized<fitw_join_options>();
    options.reach_mm = 2.0;
    Join join = context.join_by_surface(moved, scan, nullptr, options);
    TRUE_(join.describe().converged == 1 && near_to(join.pose().translation_mm[2], 0.15, 0.02));
    TRUE_(join.describe().candidate_count == 0 && status_of([&] { join.candidate(0); }) == FITW_E_ARGUMENT);
    const fitw_pose there = join.pose();
    TRUE_(context.join_by_surface(moved, scan, &there).describe().rms_mm < 0.03);
    Region on_side = whole(scan, ON_SIDE, FITW_KIND_PLANE);
    Feature side = on_side.trim().fit("builtin.plane").feature("side", on_side), joined = side.join(join);
    TRUE_(near_to(joined.shape().point_mm[0], side.shape().point_mm[0] + 0.2, 0.02));
    Region on_deck = whole(scan, ON_DECK, FITW_KIND_PLANE);
    Feature deck = on_deck.trim().fit("builtin.plane").feature("deck", on_deck);
    Feature hole = context.find_hole("hole", deck, on_deck, IN_HOLE).feature;
    Feature far_deck = deck.move(nudge), far_side = side.move(nudge), far_hole = hole.move(nudge);
    const fitw_same_feature like[] = {same(deck, far_deck), same(side, far_side), same(hole, far_hole, false)};
    const fitw_started_scan both[] = {started(moved, identity()), started(scan, identity())};
    Adjustment adjusted = context.adjust(both);
    TRUE_(adjusted.describe().scan_count == 2 && near_to(adjusted.pose(1).translation_mm[2], 0.15, 0.02));
    TRUE_(adjusted.covariance(1).matrix[0] > 0.0 && adjusted.pair(0).rms_mm < 0.05);
    TRUE_(status_of([&] { adjusted.note(99); }) == FITW_E_ARGUMENT);
    const fitw_placed_scan scans[] = {placed(scan, identity()), placed(moved, join.pose(), &join)};
    Merged merged = context.merge(scans);
    TRUE_(merged.describe().point_count == merged.point_scans().size() && merged.scan().points().size() == 3 * merged.point_scans().size());
    TRUE_(merged.triangle_scans().size() == merged.describe().triangle_count && merged.kept().size() == 2);
    TRUE_(status_of([&] { merged.seam(99); }) == FITW_E_ARGUMENT);
    const std::string json = saved_deck();
    SavedDatum saved = context.saved_datum(json);
    TRUE_(saved.describe().feature_count == 1 && str(saved.feature(0).name) == "deck");
    /* One plane holds no pose. */
    TRUE_(status_of([&] { saved.find(scans); }) == FITW_E_JOIN);
    TRUE_(status_of([&] { context.read_saved_datum("nowhere.json"); }) == FITW_E_IO);
    const Feature *const today[] = {&deck}, *const hidden[] = {nullptr};
    Changes changes = saved.changes(today);
    TRUE_(changes.describe().feature_count == 1 && str(changes.feature(0).name) == "deck");
    TRUE_(saved.changes(hidden, 0.2).feature(0).moved == FITW_MOVED_NOT_SEEN);
    TRUE_(status_of([&] { changes.stand_out(99); }) == FITW_E_ARGUMENT && status_of([&] { changes.note(99); }) == FITW_E_ARGUMENT);
    TRUE_(changes.covariance().matrix[0] >= 0.0);
    Join by_features = context.join_by_features(like);
    TRUE_(near_to(by_features.pose().translation_mm[0], -0.2, 1e-9) && by_features.describe().feature_count == 3);
    TRUE_(str(by_features.feature(2).name) == "hole" && by_features.feature(2).used == 1);
    double to[] = {0, 0, 0, 100, 0, 0, 0, 60, 0, 30, 20, 50, -40, 10, 25, 70, 80, 35}, from[18];
    std::copy(to, to + 18, from);
    for (int k = 0; k < 18; ++k) from[k] += 0.02 * std::sin(7.0 * k);
    from[16] += 2.0;
    Join targets = context.join_by_targets(to, from);
    TRUE_(targets.describe().pair_count == 5 && targets.pair(4).to == 4 && targets.pair(4).residual_mm < 0.06);
    TRUE_(targets.note(0).find("target 5") != std::string::npos);
    /* Five pairs have 15 coordinates less 6 of the motion: the middle is known to rms / 3, at best. */
    const double least = targets.describe().rms_mm / 3.0;
    TRUE_(targets.describe().rms_mm > 0.005 && targets.covariance().matrix[0] > 0.99 * least * least);
    TRUE_(side.join(targets).uncertainty().position_mm > 1.99 * least && side.uncertainty().position_mm < least);
}

/* What no bump holds is refused, whatever is asked of it; C and Python lay bumpy sheets on one another. */
static void from_no_start(const Context &context) {
    std::vector<double> points;
    for (int i = 0; i < 60; ++i)
        for (int j = 0; j < 60; ++j) points.insert(points.end(), {1.0 * i, 1.0 * j, 0.005 * std::sin(31.0 * i + 17.0 * j)});
    Scan sheet = context.scan(Mesh(points));
    fitw_join_options options = sized<fitw_join_options>();
    TRUE_(status_of([&] { context.join_from_unknown_start(sheet, sheet, options); }) == FITW_E_JOIN);
    options.least_overlap = -1.0;
    TRUE_(status_of([&] { context.join_from_unknown_start(sheet, sheet, options); }) == FITW_E_ARGUMENT);
}

static void parts(const Context &context, const Scan &scan, const std::string &folder) {
    Part plate = context.read_part(folder + "/p10_inch_plate.step");
    TRUE_(plate.describe().face_count == 7 && near_to(plate.describe().volume_mm3 / 63939.45975386514, 1.0, 1e-3));
    TRUE_(plate.points().size() == 3 * plate.describe().point_count);
    TRUE_(plate.face_of_triangle().size() * 3 == plate.triangles().size());
    TRUE_(near_to(plate.hole(0).radius_mm, 6.35, 1e-9) && near_to(plate.hole_at(Point{{25.4, 1, 0}}).point_mm[0], 25.4, 1e-9));
    std::size_t bores = 0;
    for (std::size_t k = 0; k < 7; ++k) bores += plate.face(k).first.kind == FITW_KIND_CYLINDER && plate.face(k).second;
    TRUE_(bores == 1 && status_of([&] { plate.note(99); }) == FITW_E_ARGUMENT);

    Region on_deck = whole(scan, ON_DECK, FITW_KIND_PLANE);
    Feature deck = on_deck.trim().fit("builtin.plane").feature("deck", on_deck);
    Hole hole = context.find_hole("hole", deck, on_deck, IN_HOLE);
    fitw_pose pose = identity();
    pose.translation_mm[0] = 25.5, pose.translation_mm[2] = -6.35;
    Feature seat = deck.move(pose), bolt = hole.feature.move(pose);
    Datum datum = context.datum({{deck, "+z"}, {hole.feature, "", "xy"}, {whole(scan, ON_SIDE, FITW_KIND_PLANE).fit("builtin.plane").feature("side", on_deck), "+x"}});
    double uncertain[3], seated[3];
    for (int k = 0; k < 3; ++k) {
        Scene scene(plate);
        const int32_t place = scene.scan(scan, "front", pose, nullptr, length_error(k == 1 ? 0.03 : 0.0, 0.0));
        const int32_t on = scene.feature(seat, true, "", &on_deck, place), in = scene.feature(bolt, false, "M12");
        scene.mount(in, on, Point{{25.4, 0, 0}}, k == 1 ? 77.0 : 0.0);
        if (k == 2) scene.datum(datum);
        if (k == 1) {
            fitw_tool_limits tools = sized<fitw_tool_limits>();
            tools.flags = FITW_TOOLS_EVERY;
            scene.tools(tools);
            scene.insertion(sized<fitw_insertion_limits>());
        }
        Check check = scene.check();
        TRUE_(check.part_pose().rotation[0] == 1.0);
        /* The machine's scan is no scan of the plate. */
        std::vector<double> off;
        TRUE_(k > 0 || status_of([&] { scene.made(scan, 0.1, FITW_LAID_ON_MODEL, nullptr, nullptr, &off); }) == FITW_E_JOIN);
        std::size_t found = 0, reached = 0;
        for (std::size_t i = 0; i < check.size(); ++i) {
            const fitw_finding f = check.finding(i);
            reached += f.kind == FITW_CHECK_TOOL_ACCESS;
            TRUE_(f.kind == FITW_CHECK_INSERTION ? k == 1 : check.path(i).empty());
            for (std::size_t j = 0; f.kind == FITW_CHECK_TOOL_ACCESS && j < f.number_count; ++j)
                TRUE_(str(check.number(i, j).name) != "bolt_length" || check.number(i, j).value == 77.0);
            /* Those of all seats and all bolts at once are others. */
            if (str(f.name).compare(0, 4, "all ") == 0) continue;
            if (f.kind == FITW_CHECK_SEAT) seated[k] = f.uncertainty_mm, ++found;
            if (f.kind != FITW_CHECK_HOLE) continue;
            /* Play of an M12 bolt in half an inch, less the 0.1 mm between the axes. */
            TRUE_(near_to(f.value_mm, 0.25, 0.01));
            uncertain[k] = f.uncertainty_mm, ++found;
            double sum = 0.0;
            for (std::size_t j = 0; j < f.share_count; ++j) sum += std::pow(check.share(i, j).deviation, 2);
            TRUE_(near_to(2.0 * std::sqrt(sum), f.uncertainty_mm, 1e-12));
            TRUE_(f.share_count > 0 && status_of([&] { check.number(i, f.number_count); }) == FITW_E_ARGUMENT);
        }
        /* Socket, spanner, the bolt's way in, the seat of its head. */
        TRUE_(found == 2 && reached == (k == 1 ? 4u : 0u));
    }
    /* The maker's 0.03 mm are added to the seat; the hole is of no scan in this scene: only the frame is. */
    TRUE_(near_to(seated[1], std::hypot(seated[0], 2.0 * 0.03 / std::sqrt(3.0)), 0.002));
    TRUE_(uncertain[1] == uncertain[0] && uncertain[2] > uncertain[0]);
}

static void surveys(const Context &context, const Scan &scan) {
    TRUE_(has("survey"));
    Survey survey = scan.survey();
    const fitw_survey_info info = survey.describe();
    /* Deck, side, hole. */
    TRUE_(info.primitive_count == 3 && info.tube_count == 0 && info.hole_count >= 1);
    const fitw_surveyed deck = survey.primitive(0), wall = survey.primitive(2);
    TRUE_(str(deck.id) == "plane 1" && deck.side == FITW_SIDE_FLAT && near_to(deck.direction[2], 1.0, 1e-6));
    TRUE_(str(wall.id) == "cylinder 1" && wall.side == FITW_SIDE_INNER && near_to(wall.size_1, HOLE_RADIUS, 0.003));
    TRUE_(survey.ids(1).size() <= SIDE * SIDE && survey.ids(1).size() == survey.primitive(1).point_count);
    TRUE_(survey.ids(1)[0] >= DECK_AND_WALL);
    TRUE_(survey.neighbours(0).size() == 1 && survey.neighbours(0)[0] == 2 && survey.neighbours(1).size() == 0);
    /* Fitted another way it stays the hole's wall; as a feature it is in the STEP file. */
    TRUE_(near_to(survey.region(2).trim().fit("builtin.cylinder").shape().size_1, HOLE_RADIUS, 0.003));
    Feature feature = survey.feature(2);
    TRUE_(context.step_text({&feature}).find("'cylinder 1'") != std::string::npos);
    const fitw_proposed_datum datum = survey.datum();
    TRUE_(datum.primary == 0 && datum.secondary == 1 && datum.tertiary == FITW_SURVEY_NONE && datum.hole >= 0);
    const fitw_surveyed_hole hole = survey.hole(static_cast<std::size_t>(datum.hole));
    TRUE_(hole.wall == 2 && hole.face == 0 && hole.through == 0 && near_to(hole.radius_mm, HOLE_RADIUS, 0.003));
    for (std::size_t k = 0; k < info.group_count; ++k) {
        const SurveyGroup group = survey.group(k);
        TRUE_(group.members.size() >= 2 && group.kind >= FITW_SURVEYED_COAXIAL && group.members[0] < 3);
    }
    TRUE_(status_of([&] { survey.group(info.group_count); }) == FITW_E_ARGUMENT);
    TRUE_(status_of([&] { survey.tube(0); }) == FITW_E_ARGUMENT);
    TRUE_(status_of([&] { survey.primitive(3); }) == FITW_E_ARGUMENT);
    const std::pair<int32_t, double> near_hole = survey.nearest(Point{{0, 0, -5}}, FITW_KIND_CYLINDER, 16.5);
    TRUE_(near_hole.first == 2 && near_to(near_hole.second, HOLE_RADIUS, 0.1));
    TRUE_(survey.nearest(Point{{0, 0, 0}}, FITW_KIND_SPHERE).first == FITW_SURVEY_NONE);
    TRUE_(survey.json("front.ply").find("\"cylinder 1\"") != std::string::npos);
    const std::string starter = survey.starter_job("front.ply", FITW_UNIT_CM);
    TRUE_(starter.find("unit = \"cm\"") != std::string::npos && context.job(starter));
    TRUE_(status_of([&] { survey.starter_job("front.ply", 11); }) == FITW_E_ARGUMENT);
    TRUE_(scan.survey(20.0).describe().primitive_count == 2);
    TRUE_(status_of([&] { scan.survey(-1.0); }) == FITW_E_ARGUMENT);
    context.cancel();
    TRUE_(status_of([&] { scan.survey(); }) == FITW_E_CANCELLED);
    context.resume();
}

static void jobs(const Context &context, const std::string &folder) {
    {
        std::ofstream file((folder + "/plain.xyz").c_str());
        for (int i = 0; i < 900; ++i) file << i % 30 << ' ' << i / 30 << " 0.0" << i % 7 << '\n';
    }
    Outcome outcome = context.job("[job]\nname = \"plain\"\nlength = \"mm\"\nangle = \"deg\"\n[[scan]]\nname = \"s\"\n"
                                  "file = \"plain.xyz\"\n[[feature]]\nname = \"face\"\nfit = \"plane\"\nregion = \"all\"\n",
                                  folder).run();
    outcome.write(folder);
    std::ifstream result((folder + "/result.json").c_str());
    TRUE_(result.good() && outcome.check().size() == 0);
    Feature face = outcome.feature(0);
    context.step_write(folder + "/face.step", {&face});
    std::ifstream step((folder + "/face.step").c_str());
    std::string first;
    TRUE_(std::getline(step, first) && first.compare(0, 13, "ISO-10303-21;") == 0);
}

int main(int argc, char **argv) {
    TRUE_(argc == 3);
    const Machine machine = make_machine();
    Context context = Context::create();
    Scan scan = context.scan(Mesh(machine.points, machine.triangles));
    library(context);
    cancelling(machine);
    regions(scan, machine);
    fits_and_features(context, scan);
    joins(context, scan);
    from_no_start(context);
    parts(context, scan, argv[2]);
    surveys(context, scan);
    jobs(context, argv[1]);
    std::puts("further: ok");
}
