/* fitwright.hpp on a made-up machine whose answers are known. */
#include "common.hpp"

using namespace fitwright;

static const Point ON_DECK = {{20.0, 0.0, 0.1}};
static const Point ON_SIDE = {{40.0, 0.0, -15.0}};
static const Point IN_HOLE = {{7.9, 0.0, -3.0}};

static bool near_to(double a, double b, double within) { return std::fabs(a - b) <= within; }

template <class F> static fitw_status status_of(F f) {
    try {
        f();
    } catch (const Error &e) {
        TRUE_(std::string(e.what()).size() > 5);
        return e.status();
    }
    return FITW_OK;
}

static Region whole(const Scan &scan, const Point &pick, int32_t kind) {
    fitw_grow_options options = sized<fitw_grow_options>();
    options.trim_mm = -1.0;
    return scan.grow(pick, kind, options);
}

static void features(const Context &context, const Scan &scan) {
    Region on_deck = whole(scan, ON_DECK, FITW_KIND_PLANE), on_side = whole(scan, ON_SIDE, FITW_KIND_PLANE);
    Fit deck_fit = on_deck.trim().fit("builtin.plane");
    fitw_shape plane = deck_fit.shape();
    TRUE_(near_to(std::fabs(plane.direction[2]), 1.0, 1e-5) && near_to(plane.point_mm[2], 0.0, 0.001));
    TRUE_(near_to(deck_fit.quality().rms_mm, 0.02 / std::sqrt(12.0), 0.001));
    Feature deck = deck_fit.feature("deck", on_deck);
    Feature side = on_side.trim().fit("builtin.plane").feature("side", on_side);

    Region wall = scan.grow(IN_HOLE, FITW_KIND_CYLINDER);
    Fit free = wall.fit("builtin.cylinder");
    TRUE_(near_to(free.shape().size_1, HOLE_RADIUS, 0.003));
    TRUE_(near_to(free.uncertainty().size_1, 2.0 * std::sqrt(free.covariance().matrix[54]), 1e-12));
    TRUE_(free.parameter("radius").value[0] == free.shape().size_1);
    FitOptions known;
    known.constraints.push_back(constraint(FITW_CONSTRAINT_PARALLEL, Point{{0.0, 0.0, 1.0}}));
    known.constraints.push_back(constraint(FITW_CONSTRAINT_RADIUS, HOLE_RADIUS));
    Fit held = wall.fit("builtin.cylinder", known);
    TRUE_(held.shape().size_1 == HOLE_RADIUS && held.constraint_cost().freedoms == 3);
    FitOptions zone;
    zone.criterion = FITW_CRITERION_MINIMUM_ZONE;
    Fit narrow = wall.fit("builtin.cylinder", zone);
    /* No zone of cylinders is narrower, and the scatter is even over 0.02 mm. */
    TRUE_(narrow.quality().zone_mm <= free.quality().zone_mm && narrow.quality().zone_mm <= 0.0201);
    TRUE_(narrow.contacts().size() >= 4);

    Hole hole = context.find_hole("hole", deck, on_deck, IN_HOLE);
    TRUE_(near_to(hole.feature.shape().size_1, HOLE_RADIUS, 0.005) && hole.wall.ids().size() > 1000);
    TRUE_(str(hole.feature.describe().name) == "hole" && deck.piece(0).loop_count == 2);
    TRUE_(near_to(std::hypot(deck.loop(0, 0)[0], deck.loop(0, 0)[1]), 30.0, 0.5));
    TRUE_(near_to(deck.relation(side).angle_rad, 1.5707963, 0.001));
    Feature corner = hole.feature.intersect("corner", deck);
    TRUE_(near_to(corner.shape().point_mm[0], 0.0, 0.01));

    Datum datum = context.datum({{deck, "+z"}, {side, "+x"}, {hole.feature, "", "origin"}});
    fitw_pose pose = datum.pose();
    TRUE_(near_to(pose.rotation[0], 1.0, 1e-4) && near_to(pose.translation_mm[0], 0.0, 0.01));
    TRUE_(datum.describe().taken_count == 3 && datum.taken(0).size() > 5);
    TRUE_(status_of([&] { context.datum({{deck, "+z"}}); }) == FITW_E_DATUM);

    std::string step = context.step_text({&deck, &side, &hole.feature}, &pose);
    TRUE_(step.compare(0, 13, "ISO-10303-21;") == 0 && step.find("'hole'") != std::string::npos);
    TRUE_(status_of([&] { context.step_text({&deck, &deck}); }) == FITW_E_DUPLICATE_NAME);
    TRUE_(status_of([&] { context.write_meshes("a.step", {{"scan", scan}}); }) == FITW_E_UNKNOWN_FORMAT);
    TRUE_(status_of([&] {
        context.write_meshes("/no/such/folder/a.glb",
                             {Body("scan", scan).colour(170, 170, 165).at(pose), {"deck", deck}});
    }) == FITW_E_IO);
}

static void parts(const Context &context, const Scan &scan) {
    std::vector<double> xyz;
    for (int i = 0; i < 8; ++i) {
        xyz.push_back(i % 4 == 1 || i % 4 == 2 ? 25.0 : 15.0);
        xyz.push_back(i % 4 >= 2 ? 5.0 : -5.0);
        xyz.push_back(i >= 4 ? 11.0 : 5.0);
    }
    const std::vector<uint32_t> corners = {0, 2, 1, 0, 3, 2, 4, 5, 6, 4, 6, 7, 0, 1, 5, 0, 5, 4,
                                           1, 2, 6, 1, 6, 5, 2, 3, 7, 2, 7, 6, 3, 0, 4, 3, 4, 7};
    Part part = context.part(Mesh(xyz, corners), "box");
    TRUE_(part.describe().closed == 1 && near_to(part.describe().volume_mm3, 600.0, 1e-9));
    Scene scene(part);
    scene.scan(scan, "front");
    scene.raw().clearance_mm = 3.0;
    std::vector<double> clearance = scene.clearance();
    TRUE_(clearance.size() == 8 && near_to(clearance[0], 5.0, 0.05) && near_to(clearance[4], 11.0, 0.05));
    Check check = scene.check();
    TRUE_(check.size() > 0 && str(check.finding(0).detail).size() > 5);
    TRUE_(check.verdict() != FITW_VERDICT_FAIL);

    /* The deck rises by 1 mm; the aluminium box, held 100 mm below its lower side, grows towards a machine that does
       not, by 23e-6 * 100 * 50 = 0.115 mm. */
    scene.motion("deck rises", FITW_MOVING_SCAN, 0, {shift(Point{{0, 0, 1}}, 0.0, 1.0)}, 2.0);
    std::pair<double, double> steel = context.expansion("steel"), aluminium = context.expansion("aluminium");
    TRUE_(near_to(steel.first, 11.5e-6, 1e-15) && aluminium.second > 0.0);
    const Point below{{20, 0, 105}};
    scene.temperature(warming(steel.first, steel.second, 20, 20), warming(aluminium.first, aluminium.second, 20, 70),
                      &below);
    Check moving = scene.check();
    int found = 0;
    for (std::size_t k = 0; k < moving.size(); ++k) {
        fitw_finding f = moving.finding(k);
        if (f.kind == FITW_CHECK_MOTION) {
            ++found;
            TRUE_(str(f.name) == "deck rises" && near_to(f.value_mm, 4.0, 0.05) && f.limit_mm == 2.0);
        }
        if (f.kind == FITW_CHECK_THERMAL) {
            ++found;
            TRUE_(near_to(f.value_mm, 5.0 - 0.115, 0.05));
        }
    }
    TRUE_(found == 2);

    /* Another box, from 10 to 16, is 1 mm deep in it; one from 11 lies on it. */
    std::vector<double> deep = xyz, over = xyz;
    for (std::size_t k = 2; k < xyz.size(); k += 3) deep[k] += 5.0, over[k] += 6.0;
    Part lower = context.part(Mesh(deep, corners), "lower"), upper = context.part(Mesh(over, corners), "upper");
    Scene beside(part);
    beside.scan(scan, "front");
    TRUE_(beside.other_part(lower, "lower") == 0 && beside.other_part(upper, "upper", true) == 1);
    Check both = beside.check();
    found = 0;
    for (std::size_t k = 0; k < both.size(); ++k) {
        fitw_finding f = both.finding(k);
        if (f.kind != FITW_CHECK_CLEARANCE) continue;
        if (str(f.name) == "lower") TRUE_(++found && near_to(f.value_mm, -1.0, 1e-9) && f.verdict == FITW_VERDICT_FAIL);
        if (str(f.name) == "upper") TRUE_(++found && f.value_mm == 0.0 && f.verdict == FITW_VERDICT_PASS);
    }
    TRUE_(found == 2);
}

static void contexts(const std::string &folder, const Machine &machine) {
    /* A file big enough for a report. */
    std::string path = folder + "/flat.xyz";
    {
        std::ofstream file(path.c_str());
        for (int i = 0; i < 900; ++i) file << i % 30 << ' ' << i / 30 << " 0.0" << i % 7 << '\n';
    }
    int reports = 0;
    ContextOptions options;
    options.threads = 2;
    options.progress = [&](const std::string &step, double) { return ++reports, step.empty(); };
    Context context = Context::create(options);
    TRUE_(status_of([&] { context.read_scan(path); }) == FITW_E_CANCELLED && reports == 1);
    context.resume();
    Scan scan = context.scan(Mesh(machine.points, machine.triangles));
    context = Context();
    /* A handle keeps its context. */
    TRUE_(scan.nearest(ON_DECK).second < 1.0);

    options.progress = [](const std::string &, double) -> bool { throw std::range_error("mine"); };
    Context throwing = Context::create(options);
    bool caught = false;
    try {
        throwing.read_scan(path);
    } catch (const std::range_error &e) {
        caught = std::string(e.what()) == "mine";
    }
    TRUE_(caught);

    std::string line;
    ContextOptions logging;
    logging.log = [&](int32_t level, const std::string &text) { line = level == FITW_LOG_ERROR ? text : ""; };
    Context loud = Context::create(logging);
    try {
        loud.read_scan("/no/such/file.ply");
        TRUE_(false);
    } catch (const Error &e) {
        TRUE_(e.status() == FITW_E_IO && e.place().find("/no/such/file.ply") != std::string::npos);
        TRUE_(!line.empty());
    }
    Job job = loud.job("[job]\nname = \"flat\"\nlength = \"mm\"\nangle = \"deg\"\n[[scan]]\nname = \"s\"\n"
                       "file = \"flat.xyz\"\n[[feature]]\nname = \"face\"\nfit = \"plane\"\nregion = \"all\"\n",
                       folder);
    Outcome outcome = job.run();
    TRUE_(outcome.json().find("\"face\"") != std::string::npos && outcome.describe().feature_count == 1);
    TRUE_(str(outcome.feature(0).describe().name) == "face");
    TRUE_(status_of([&] { loud.job("[job]\nnam = 1\n"); }) == FITW_E_JOB);
}

static void owners(const Context &context, const Machine &machine) {
    static_assert(!std::is_copy_constructible<Scan>::value, "move only");
    static_assert(std::is_nothrow_move_constructible<Scan>::value, "moves");
    int releases = 0;
    {
        Scan lent = context.borrow(Mesh(machine.points, machine.triangles), [&] { ++releases; });
        TRUE_(lent.points().data() == machine.points.data());
        Scan moved = std::move(lent);
        TRUE_(!lent && moved && releases == 0);
        TRUE_(status_of([&] { lent.points(); }) != FITW_OK);
        /* Fails: the memory stays the caller's. */
        std::vector<uint32_t> wrong(3, 4000000000u);
        TRUE_(status_of([&] { context.borrow(Mesh(machine.points, wrong), [&] { releases += 10; }); }) ==
              FITW_E_ARGUMENT);
    }
    TRUE_(releases == 1);
    std::vector<double> odd(4);
    TRUE_(status_of([&] { context.scan(Mesh(odd)); }) == FITW_E_ARGUMENT);
    std::vector<float> floats(machine.points.begin(), machine.points.end());
    Scan single = context.scan(Mesh(floats).unit(FITW_UNIT_CM));
    TRUE_(near_to(single.points()[0], 10.0 * machine.points[0], 1e-4));
    fitw_pose shift = identity();
    shift.translation_mm[1] = 2.0;
    TRUE_(near_to(single.move(shift).points()[1], single.points()[1] + 2.0, 1e-12));
    const double to[] = {0, 0, 0, 100, 0, 0, 0, 60, 0, 30, 20, 50};
    Join join = context.join_by_targets(to, to);
    TRUE_(join.describe().pair_count == 4 && near_to(join.pose().rotation[0], 1.0, 1e-12));
}

int main(int argc, char **argv) {
    TRUE_(argc == 2);
    const Machine machine = make_machine();
    Context context = Context::create();
    Scan scan = context.scan(Mesh(machine.points, machine.triangles));
    TRUE_(scan.describe().point_count * 3 == machine.points.size());
    TRUE_(near_to(scan.noise(), 0.02 / std::sqrt(12.0), 0.003));
    TRUE_(scan.in_box(Point{{39, -20, -40}}, Point{{41, 20, 1}}).ids().size() == SIDE * SIDE);
    features(context, scan);
    parts(context, scan);
    contexts(argv[1], machine);
    owners(context, machine);
    std::puts("interface: ok");
}
