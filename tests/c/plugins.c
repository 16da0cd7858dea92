/* Plug-ins: loaded, listed, refused, run in a worker and in this process. Called with a folder that has them,
 * see tests/src/c/plugins.rs, and the worker program. */
#define _POSIX_C_SOURCE 200809L
#include "common.h"
#include <pthread.h>
#include <sys/stat.h>
#include <time.h>

static const char *folder, *worker;

static int near_to(double a, double b, double within) { return fabs(a - b) <= within; }

static const char *inside(const char *name)
{
    static char paths[4][1024];
    static size_t next;
    char *path = paths[next++ % 4];
    snprintf(path, sizeof paths[0], "%s/%s", folder, name);
    return path;
}

static int has(fitw_str s, const char *what) { return s.len > 0 && strstr(s.ptr, what) != NULL; }

static fitw_plugin_options with_worker(void)
{
    fitw_plugin_options o = FITW_ZERO;
    o.struct_size = sizeof o;
    o.worker = text(worker);
    return o;
}

/* A welding stud of diameter 8 standing 20 mm on a foot at (10, -5, 3), along z. Scatter even over 0.02 mm. */
#define STUD_ROWS 41
#define STUD_ROUND 48
#define STUD_POINTS (STUD_ROWS * STUD_ROUND)
static double stud[3 * STUD_POINTS];

static void make_stud(void)
{
    const double pi = 3.14159265358979323846;
    uint32_t state = 7;
    size_t i;
    for (i = 0; i < STUD_POINTS; ++i) {
        double turn = 2.0 * pi * (double)(i % STUD_ROUND) / STUD_ROUND, radius = 4.0 + scatter(&state);
        stud[3 * i] = 10.0 + radius * cos(turn);
        stud[3 * i + 1] = -5.0 + radius * sin(turn);
        stud[3 * i + 2] = 3.0 + 0.5 * (double)(i / STUD_ROUND);
    }
}

static fitw_points stud_points(void)
{
    fitw_points p = FITW_ZERO;
    p.struct_size = sizeof p;
    p.points = stud;
    p.count = STUD_POINTS;
    p.resolution_mm = 0.5;
    return p;
}

static fitw_status fit_stud(const char *fitter, const fitw_option_value *values, size_t count, fitw_fit **out)
{
    fitw_points p = stud_points();
    fitw_fit_options o = FITW_ZERO;
    o.struct_size = sizeof o;
    o.options = values;
    o.option_count = count;
    return fitw_fit_points(ctx, text(fitter), &p, &o, out);
}

static fitw_option_value option(const char *name, double value)
{
    fitw_option_value v;
    v.name = text(name);
    v.value = value;
    return v;
}

static size_t fitter_of(const char *id)
{
    size_t count, i;
    OK(fitw_fitter_count(ctx, &count));
    for (i = 0; i < count; ++i) {
        fitw_fitter_info info = FITW_ZERO;
        info.struct_size = sizeof info;
        OK(fitw_fitter_describe(ctx, i, &info));
        if (strcmp(info.id.ptr, id) == 0)
            return i;
    }
    TRUE_(!"no such fitter");
    return 0;
}

static void lists(int trusted, size_t built_in)
{
    fitw_plugin_info plugin = FITW_ZERO;
    fitw_option_info o = FITW_ZERO;
    fitw_fitter_info fitter = FITW_ZERO;
    size_t count, rows;
    plugin.struct_size = sizeof plugin;
    o.struct_size = sizeof o;
    fitter.struct_size = sizeof fitter;
    OK(fitw_plugin_count(ctx, &count));
    TRUE_(count == 2);
    OK(fitw_plugin_refused_count(ctx, &count));
    TRUE_(count == 0);
    /* By the names of their folders. */
    OK(fitw_plugin_describe(ctx, 1, &plugin));
    TRUE_(strcmp(plugin.id.ptr, "acme.studs") == 0 && strcmp(plugin.title.ptr, "Welding studs") == 0);
    TRUE_(strcmp(plugin.version.ptr, "0.1.0") == 0 && strcmp(plugin.licence.ptr, "MIT OR Apache-2.0") == 0);
    TRUE_(has(plugin.folder, "/plugins/stud") && plugin.trusted == trusted && plugin.fitter_count == 1);
    OK(fitw_plugin_describe(ctx, 0, &plugin));
    TRUE_(strcmp(plugin.id.ptr, "test.fitters") == 0 && plugin.fitter_count == 3);
    IS(FITW_E_ARGUMENT, fitw_plugin_describe(ctx, 2, &plugin));
    OK(fitw_fitter_count(ctx, &count));
    TRUE_(count == built_in + 4 && fitter_of("builtin.plane") < built_in && fitter_of("acme.stud") >= built_in);
    OK(fitw_fitter_describe(ctx, fitter_of("acme.stud"), &fitter));
    TRUE_(fitter.kind == FITW_KIND_COMPOSITE && fitter.minimum_points == 12);

    OK(fitw_fitter_option_count(ctx, fitter_of("builtin.cone"), &count));
    TRUE_(count == 0);
    rows = fitter_of("test.rows");
    OK(fitw_fitter_option_count(ctx, rows, &count));
    TRUE_(count == 3);
    OK(fitw_fitter_option(ctx, rows, 0, &o));
    TRUE_(strcmp(o.name.ptr, "rows") == 0 && o.sort == FITW_OPTION_WHOLE && o.quantity == FITW_QUANTITY_NUMBER);
    TRUE_(strcmp(o.description.ptr, "rows of the table") == 0);
    TRUE_(o.standard == 3.0 && o.least == 0.0 && o.most == 100.0);
    OK(fitw_fitter_option(ctx, rows, 1, &o));
    TRUE_(o.sort == FITW_OPTION_SWITCH && o.standard == 0.0 && o.most == 1.0);
    OK(fitw_fitter_option(ctx, rows, 2, &o));
    TRUE_(o.sort == FITW_OPTION_NUMBER && o.quantity == FITW_QUANTITY_ANGLE);
    IS(FITW_E_ARGUMENT, fitw_fitter_option(ctx, rows, 3, &o));
    IS(FITW_E_ARGUMENT, fitw_fitter_option(ctx, built_in + 4, 0, &o));
    IS(FITW_E_ARGUMENT, fitw_fitter_option_count(ctx, built_in + 4, &count));
}

/* What two runs must agree in to the bit. */
typedef struct answer {
    fitw_parameter parameters[3];
    double uncertainties[3];
    fitw_quality quality;
    fitw_covariance covariance;
} answer;

static void studs(answer *a)
{
    fitw_fit *fit = NULL, *cylinder = NULL;
    fitw_uncertainty u = FITW_ZERO;
    fitw_parameter p = FITW_ZERO;
    fitw_option_value longest[1];
    size_t count, i;
    double radius;
    memset(a, 0, sizeof *a);
    p.struct_size = sizeof p;
    OK(fit_stud("acme.stud", NULL, 0, &fit));
    OK(fitw_fit_parameter_count(ctx, fit, &count));
    TRUE_(count == 3);
    for (i = 0; i < 3; ++i) {
        a->parameters[i].struct_size = sizeof a->parameters[i];
        OK(fitw_fit_parameter(ctx, fit, i, &a->parameters[i]));
        OK(fitw_fit_parameter_uncertainty(ctx, fit, i, &a->uncertainties[i]));
    }
    a->quality.struct_size = sizeof a->quality;
    a->covariance.struct_size = sizeof a->covariance;
    OK(fitw_fit_quality(ctx, fit, &a->quality));
    OK(fitw_fit_covariance(ctx, fit, NULL, &a->covariance));
    /* What the points were made of. */
    TRUE_(near_to(a->parameters[0].value[0], 10.0, 0.002) && near_to(a->parameters[0].value[1], -5.0, 0.002));
    TRUE_(near_to(a->parameters[0].value[2], 3.0, 0.01) && near_to(a->parameters[1].value[0], 8.0, 0.002));
    TRUE_(strcmp(a->parameters[1].name.ptr, "diameter") == 0 && near_to(a->parameters[2].value[0], 20.0, 0.01));
    TRUE_(near_to(a->quality.rms_mm, 0.02 / sqrt(12.0), 0.001) && a->quality.points == STUD_POINTS);
    /* A diameter is uncertain by twice its radius, here of the engine's own fit, and the length's ends each by
     * the spacing of the points, even over 0.5 mm. */
    OK(fit_stud("builtin.cylinder", NULL, 0, &cylinder));
    u.struct_size = sizeof u;
    OK(fitw_fit_uncertainty(ctx, cylinder, NULL, &u));
    TRUE_(near_to(a->uncertainties[1] / (2.0 * u.size_1), 1.0, 0.02));
    TRUE_(near_to(a->uncertainties[2], 2.0 * sqrt(2.0 * 0.5 * 0.5 / 12.0), 1e-12));
    TRUE_(near_to(a->uncertainties[0], 2.0 * sqrt(0.5 * 0.5 / 12.0), 1e-3));
    /* Parameters of a built-in shape: point, axis, radius. */
    OK(fitw_fit_parameter_uncertainty(ctx, cylinder, 2, &radius));
    TRUE_(radius == u.size_1);
    OK(fitw_fit_parameter_uncertainty(ctx, cylinder, 1, &radius));
    TRUE_(radius == u.tilt_rad);
    OK(fitw_fit_parameter_uncertainty(ctx, cylinder, 0, &radius));
    TRUE_(radius == u.position_mm);
    IS(FITW_E_ARGUMENT, fitw_fit_parameter_uncertainty(ctx, cylinder, 3, &radius));
    OK(fitw_fit_note_count(ctx, cylinder, &count));
    TRUE_(count == 0);
    OK(fitw_fit_parameter_named(ctx, fit, text("length"), &p));
    TRUE_(p.value[0] == a->parameters[2].value[0]);
    OK(fitw_fit_release(fit));
    OK(fitw_fit_release(cylinder));

    fit = NULL;
    longest[0] = option("longest", 10.0);
    IS(FITW_E_UNDETERMINED, fit_stud("acme.stud", longest, 1, &fit));
    longest[0] = option("shortest", 10.0);
    IS(FITW_E_ARGUMENT, fit_stud("acme.stud", longest, 1, &fit));
    longest[0] = option("longest", 1000.5);
    IS(FITW_E_ARGUMENT, fit_stud("acme.stud", longest, 1, &fit));
    longest[0] = option("longest", NAN);
    IS(FITW_E_ARGUMENT, fit_stud("acme.stud", longest, 1, &fit));
    longest[0] = option("longest", 10.0);
    IS(FITW_E_ARGUMENT, fit_stud("builtin.cylinder", longest, 1, &fit));
    IS(FITW_E_ARGUMENT, fit_stud("acme.stud", NULL, 1, &fit));
    IS(FITW_E_UNKNOWN_NAME, fit_stud("acme.studd", NULL, 0, &fit));
    TRUE_(fit == NULL);
}

static void tables(void)
{
    fitw_option_value values[3];
    fitw_fit *fit = NULL;
    fitw_parameter p = FITW_ZERO;
    fitw_column column = FITW_ZERO;
    fitw_str note;
    const double *numbers;
    size_t count, i;
    double u;
    p.struct_size = sizeof p;
    column.struct_size = sizeof column;
    values[0] = option("rows", 5.0);
    values[1] = option("loud", 1.0);
    values[2] = option("lean", -0.5);
    OK(fit_stud("test.rows", values, 3, &fit));
    OK(fitw_fit_parameter(ctx, fit, 0, &p));
    TRUE_(p.value[0] == -0.5 && p.quantity == FITW_QUANTITY_ANGLE);
    OK(fitw_fit_parameter(ctx, fit, 1, &p));
    TRUE_(p.value_kind == FITW_VALUE_TABLE && strcmp(p.name.ptr, "steps") == 0);
    TRUE_(p.value[0] == 5.0 && p.value[1] == 3.0 && p.value[2] == 0.0);
    OK(fitw_fit_table_column(ctx, fit, 1, 1, &column));
    TRUE_(strcmp(column.name.ptr, "feed") == 0 && column.quantity == FITW_QUANTITY_LENGTH);
    OK(fitw_fit_table_column(ctx, fit, 1, 2, &column));
    TRUE_(strcmp(column.name.ptr, "turn") == 0 && column.quantity == FITW_QUANTITY_ANGLE);
    IS(FITW_E_ARGUMENT, fitw_fit_table_column(ctx, fit, 1, 3, &column));
    IS(FITW_E_ARGUMENT, fitw_fit_table_column(ctx, fit, 0, 0, &column));
    OK(fitw_fit_table_view(ctx, fit, 1, &numbers, &count));
    TRUE_(count == 15);
    for (i = 0; i < 5; ++i)
        TRUE_(numbers[3 * i] == (double)i && numbers[3 * i + 1] == 10.0 * (double)i &&
              numbers[3 * i + 2] == 0.1 * (double)i);
    IS(FITW_E_ARGUMENT, fitw_fit_table_view(ctx, fit, 0, &numbers, &count));
    IS(FITW_E_ARGUMENT, fitw_fit_table_view(ctx, fit, 2, &numbers, &count));
    /* A standard deviation of 0.02 rad is stated, of a table none. */
    OK(fitw_fit_parameter_uncertainty(ctx, fit, 0, &u));
    TRUE_(near_to(u, 0.04, 1e-15));
    IS(FITW_E_UNDETERMINED, fitw_fit_parameter_uncertainty(ctx, fit, 1, &u));
    OK(fitw_fit_note_count(ctx, fit, &count));
    TRUE_(count == 2);
    OK(fitw_fit_note(ctx, fit, 0, &note));
    TRUE_(strcmp(note.ptr, "a note of the plug-in") == 0);
    OK(fitw_fit_note(ctx, fit, 1, &note));
    TRUE_(strcmp(note.ptr, "as loud as asked") == 0);
    IS(FITW_E_ARGUMENT, fitw_fit_note(ctx, fit, 2, &note));
    OK(fitw_fit_release(fit));

    fit = NULL;
    values[0] = option("rows", 0.0);
    OK(fit_stud("test.rows", values, 1, &fit));
    OK(fitw_fit_table_view(ctx, fit, 1, &numbers, &count));
    TRUE_(count == 0 && numbers == NULL);
    OK(fitw_fit_release(fit));
    values[0] = option("rows", 2.5);
    fit = NULL;
    IS(FITW_E_ARGUMENT, fit_stud("test.rows", values, 1, &fit));
    TRUE_(fit == NULL);
}

static pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER;
static pthread_cond_t changed = PTHREAD_COND_INITIALIZER;
static int waiting;

static int32_t on_progress(void *user, fitw_str step, double fraction)
{
    (void)user, (void)step, (void)fraction;
    pthread_mutex_lock(&lock);
    waiting = 1;
    pthread_cond_signal(&changed);
    pthread_mutex_unlock(&lock);
    return 0;
}

static void *cancel(void *user)
{
    pthread_mutex_lock(&lock);
    while (!waiting)
        pthread_cond_wait(&changed, &lock);
    pthread_mutex_unlock(&lock);
    OK(fitw_context_cancel(user));
    return NULL;
}

/* "test.waits" ends only when it is cancelled. */
static void cancelled(void)
{
    pthread_t other;
    fitw_fit *fit = NULL;
    waiting = 0;
    TRUE_(pthread_create(&other, NULL, cancel, ctx) == 0);
    IS(FITW_E_CANCELLED, fit_stud("test.waits", NULL, 0, &fit));
    TRUE_(pthread_join(other, NULL) == 0);
    IS(FITW_E_CANCELLED, fitw_plugins_load(ctx, text(inside("plugins")), NULL, NULL));
    OK(fitw_context_resume(ctx));
    OK(fit_stud("acme.stud", NULL, 0, &fit));
    OK(fitw_fit_release(fit));
}

static void new_context(void)
{
    fitw_context_options o = FITW_ZERO;
    o.struct_size = sizeof o;
    o.progress = on_progress;
    ctx = NULL;
    OK(fitw_context_create(&o, &ctx));
}

static void in_a_worker_and_here(void)
{
    fitw_plugin_options o = with_worker();
    answer there, here;
    size_t loaded, built_in, i;

    new_context();
    OK(fitw_fitter_count(ctx, &built_in));
    OK(fitw_plugins_load(ctx, text(inside("plugins")), &o, &loaded));
    TRUE_(loaded == 2);
    OK(fitw_plugins_load(ctx, text(inside("plugins/stud")), &o, &loaded));
    TRUE_(loaded == 0);
    lists(0, built_in);
    studs(&there);
    tables();
    cancelled();
    {
        fitw_fit *fit = NULL;
        IS(FITW_E_PLUGIN, fit_stud("test.crashes", NULL, 0, &fit));
        OK(fit_stud("test.rows", NULL, 0, &fit));
        OK(fitw_fit_release(fit));
    }
    OK(fitw_context_release(ctx));

    new_context();
    o.trust = 1;
    OK(fitw_plugins_load(ctx, text(inside("plugins")), &o, &loaded));
    TRUE_(loaded == 2);
    lists(1, built_in);
    studs(&here);
    tables();
    cancelled();
    OK(fitw_context_release(ctx));
    for (i = 0; i < 3; ++i)
        TRUE_(memcmp(there.parameters[i].value, here.parameters[i].value, sizeof here.parameters[i].value) == 0);
    TRUE_(memcmp(there.uncertainties, here.uncertainties, sizeof here.uncertainties) == 0);
    TRUE_(memcmp(&there.quality, &here.quality, sizeof here.quality) == 0);
    TRUE_(memcmp(&there.covariance, &here.covariance, sizeof here.covariance) == 0);
}

static void refused(void)
{
    fitw_plugin_options o = with_worker();
    fitw_refusal refusal = FITW_ZERO;
    fitw_fit *fit = NULL;
    size_t count = 77;
    refusal.struct_size = sizeof refusal;
    new_context();
    OK(fitw_plugins_load(ctx, text(inside("open")), &o, &count));
    TRUE_(count == 0);
    OK(fitw_plugins_load(ctx, text(inside("open")), &o, NULL));
    OK(fitw_plugin_refused_count(ctx, &count));
    TRUE_(count == 1);
    OK(fitw_plugin_refused(ctx, 0, &refusal));
    TRUE_(refusal.status == FITW_E_PLUGIN_REFUSED && has(refusal.folder, "/open/stud"));
    TRUE_(has(refusal.reason, "others may write to it"));
    IS(FITW_E_ARGUMENT, fitw_plugin_refused(ctx, 1, &refusal));
    IS(FITW_E_PLUGIN_REFUSED, fit_stud("acme.stud", NULL, 0, &fit));
    IS(FITW_E_PLUGIN_REFUSED, fitw_plugins_load(ctx, text(inside("open/stud")), &o, &count));
    TRUE_(count == 1);
    IS(FITW_E_IO, fitw_plugins_load(ctx, text(inside("nowhere")), &o, NULL));
    /* Put right, it is loaded. */
    TRUE_(chmod(inside("open/stud"), 0755) == 0);
    OK(fitw_plugins_load(ctx, text(inside("open")), &o, &count));
    TRUE_(count == 1);
    OK(fitw_plugin_refused_count(ctx, &count));
    TRUE_(count == 0);
    OK(fit_stud("acme.stud", NULL, 0, &fit));
    OK(fitw_fit_release(fit));
    TRUE_(chmod(inside("open/stud"), 0777) == 0);

    o.trust = 2;
    IS(FITW_E_ARGUMENT, fitw_plugins_load(ctx, text(inside("open")), &o, NULL));
    o.trust = 0;
    o.time_limit_s = -1.0;
    IS(FITW_E_ARGUMENT, fitw_plugins_load(ctx, text(inside("open")), &o, NULL));
    o.time_limit_s = NAN;
    IS(FITW_E_ARGUMENT, fitw_plugins_load(ctx, text(inside("open")), &o, NULL));
    o.time_limit_s = 1e9;
    IS(FITW_E_ARGUMENT, fitw_plugins_load(ctx, text(inside("open")), &o, NULL));
    o.time_limit_s = 0.0;
    o.memory_limit_bytes = 5;
    IS(FITW_E_ARGUMENT, fitw_plugins_load(ctx, text(inside("open")), &o, NULL));
    OK(fitw_context_release(ctx));

    /* There is no worker beside this program. */
    new_context();
    OK(fitw_plugins_load(ctx, text(inside("plugins")), NULL, &count));
    TRUE_(count == 0);
    OK(fitw_plugin_refused_count(ctx, &count));
    TRUE_(count == 2);
    OK(fitw_context_release(ctx));
}

static void limited(void)
{
    fitw_plugin_options o = with_worker();
    fitw_fit *fit = NULL;
    time_t start;
    o.time_limit_s = 1.0;
    new_context();
    OK(fitw_plugins_load(ctx, text(inside("plugins/fitters")), &o, NULL));
    start = time(NULL);
    IS(FITW_E_PLUGIN, fit_stud("test.waits", NULL, 0, &fit));
    TRUE_(fit == NULL && difftime(time(NULL), start) < 60.0);
    OK(fitw_context_release(ctx));
}

/* A cube of 10 mm, whatever the file holds. */
static void importers(void)
{
    fitw_plugin_options o = with_worker();
    fitw_importer_info info = FITW_ZERO;
    fitw_part_options options = FITW_ZERO;
    fitw_part_info found = FITW_ZERO;
    fitw_part *part = NULL;
    size_t count = 9;
    char path[512];
    FILE *file;
    info.struct_size = sizeof info, options.struct_size = sizeof options, found.struct_size = sizeof found;
    snprintf(path, sizeof path, "%s/a.cube", folder);
    file = fopen(path, "w");
    TRUE_(file != NULL && fputs("cube", file) >= 0 && fclose(file) == 0);
    new_context();
    OK(fitw_importer_count(ctx, &count));
    TRUE_(count == 0);
    IS(FITW_E_ARGUMENT, fitw_importer_describe(ctx, 0, &info));
    options.reader = text("hostile.honest-cube");
    IS(FITW_E_ARGUMENT, fitw_part_read(ctx, text(path), &options, &part));
    OK(fitw_plugins_load(ctx, text(inside("importers")), &o, &count));
    TRUE_(count == 1);
    OK(fitw_importer_count(ctx, &count));
    TRUE_(count == 1);
    OK(fitw_importer_describe(ctx, 0, &info));
    TRUE_(strcmp(info.id.ptr, "hostile.honest-cube") == 0 && strcmp(info.extensions.ptr, "cube") == 0);
    OK(fitw_part_read(ctx, text(path), &options, &part));
    OK(fitw_part_describe(ctx, part, &found));
    TRUE_(found.closed == 1 && found.face_count == 6 && near_to(found.volume_mm3, 1000.0, 1e-9));
    OK(fitw_part_release(part));
    /* Without its name the library itself is asked, which knows no such files. */
    IS(FITW_E_UNKNOWN_FORMAT, fitw_part_read(ctx, text(path), NULL, &part));
    /* A host of 1.2 ends its struct before the name. */
    options.struct_size = offsetof(fitw_part_options, reader);
    IS(FITW_E_UNKNOWN_FORMAT, fitw_part_read(ctx, text(path), &options, &part));
    OK(fitw_context_release(ctx));
}

static void features(void)
{
    fitw_plugin_options o = with_worker();
    fitw_mesh mesh = FITW_ZERO;
    fitw_scan *scan = NULL;
    fitw_region *all = NULL;
    fitw_fit *fit = NULL;
    fitw_feature *feature = NULL, *moved = NULL, *none = NULL;
    fitw_hole_search search = FITW_ZERO;
    fitw_feature_info info = FITW_ZERO;
    fitw_parameter p = FITW_ZERO, q = FITW_ZERO;
    fitw_column column = FITW_ZERO;
    fitw_pose up = {{1, 0, 0, 0, 1, 0, 0, 0, 1}, {0, 0, 7}};
    fitw_fit_options options = FITW_ZERO;
    fitw_group_member members[2] = {FITW_ZERO, FITW_ZERO};
    fitw_fit *fits[2] = {NULL, NULL};
    fitw_option_value value[1];
    fitw_text *step = NULL;
    fitw_str s;
    const double *numbers;
    size_t count;
    double u, v;
    info.struct_size = sizeof info;
    p.struct_size = sizeof p;
    q.struct_size = sizeof q;
    column.struct_size = sizeof column;
    search.struct_size = sizeof search;
    options.struct_size = sizeof options;
    mesh.struct_size = sizeof mesh;
    mesh.points = stud;
    mesh.point_count = STUD_POINTS;
    new_context();
    OK(fitw_plugins_load(ctx, text(inside("plugins")), &o, NULL));
    OK(fitw_scan_create(ctx, &mesh, &scan));
    OK(fitw_region_all(ctx, scan, &all));
    OK(fitw_fit_region(ctx, text("acme.stud"), all, NULL, &fit));
    OK(fitw_feature_from_fit(ctx, text("stud"), fit, all, &feature));
    OK(fitw_feature_describe(ctx, feature, &info));
    TRUE_(info.kind == FITW_KIND_COMPOSITE && strcmp(info.fitter.ptr, "acme.stud") == 0);
    TRUE_(info.piece_count == 1 && info.parameter_count == 3);
    OK(fitw_feature_move(ctx, feature, &up, &moved));
    OK(fitw_feature_parameter(ctx, feature, 0, &p));
    OK(fitw_feature_parameter(ctx, moved, 0, &q));
    TRUE_(near_to(q.value[2], p.value[2] + 7.0, 1e-12));
    OK(fitw_feature_parameter_uncertainty(ctx, feature, 1, &u));
    OK(fitw_fit_parameter_uncertainty(ctx, fit, 1, &v));
    TRUE_(u == v && u > 0.0);
    OK(fitw_step_text(ctx, NULL, (const fitw_feature *const *)&feature, 1, NULL, &step));
    OK(fitw_text_view(ctx, step, &s));
    TRUE_(has(s, "'stud'") && has(s, "CYLINDRICAL_SURFACE"));
    OK(fitw_text_release(step));
    OK(fitw_feature_release(feature));
    OK(fitw_fit_release(fit));

    feature = NULL;
    OK(fitw_fit_region(ctx, text("test.rows"), all, NULL, &fit));
    OK(fitw_feature_from_fit(ctx, text("ball"), fit, all, &feature));
    OK(fitw_fit_release(fit));
    OK(fitw_feature_table_column(ctx, feature, 1, 0, &column));
    TRUE_(strcmp(column.name.ptr, "step") == 0 && column.quantity == FITW_QUANTITY_NUMBER);
    OK(fitw_feature_table_view(ctx, feature, 1, &numbers, &count));
    TRUE_(count == 9 && numbers[7] == 20.0);
    IS(FITW_E_ARGUMENT, fitw_feature_table_column(ctx, feature, 0, 0, &column));
    IS(FITW_E_ARGUMENT, fitw_feature_table_view(ctx, feature, 9, &numbers, &count));
    IS(FITW_E_UNDETERMINED, fitw_feature_parameter_uncertainty(ctx, feature, 1, &u));
    OK(fitw_feature_describe(ctx, feature, &info));
    OK(fitw_feature_note(ctx, feature, info.note_count - 1, &s));
    TRUE_(strcmp(s.ptr, "a note of the plug-in") == 0);

    /* What no plug-in has a hand in takes none of their options. */
    value[0] = option("rows", 1.0);
    options.options = value;
    options.option_count = 1;
    search.name = text("hole");
    search.face = feature;
    search.face_region = all;
    IS(FITW_E_ARGUMENT, fitw_feature_find_hole(ctx, &search, &options, &none, NULL));
    members[0].kind = members[1].kind = FITW_KIND_CYLINDER;
    members[0].region = members[1].region = all;
    IS(FITW_E_ARGUMENT, fitw_group_fit(ctx, members, 2, 0, FITW_GROUP_COAXIAL, &options, fits, NULL));
    TRUE_(none == NULL && fits[0] == NULL);

    OK(fitw_feature_release(feature));
    OK(fitw_feature_release(moved));
    OK(fitw_region_release(all));
    OK(fitw_scan_release(scan));
    OK(fitw_context_release(ctx));
}

/* The plug-ins of the context, and those that a job names itself. */
static void jobs(void)
{
    static const char *const head =
        "[job]\nname = \"studs\"\nlength = \"mm\"\nangle = \"deg\"\n[[scan]]\nname = \"s\"\nfile = \"stud.xyz\"\n"
        "[[feature]]\nname = \"stud\"\nfit = \"acme.stud\"\nregion = \"all\"\noptions = { longest = 25 }\n";
    fitw_plugin_options o = with_worker();
    FILE *file = fopen(inside("stud.xyz"), "w");
    char own[2048];
    size_t i, turn, count;
    double length[2];
    TRUE_(file != NULL);
    for (i = 0; i < STUD_POINTS; ++i)
        fprintf(file, "%.17g %.17g %.17g\n", stud[3 * i], stud[3 * i + 1], stud[3 * i + 2]);
    TRUE_(fclose(file) == 0);
    snprintf(own, sizeof own, "[plugins]\nfolders = [\"plugins\"]\n%s", head);
    for (turn = 0; turn < 3; ++turn) {
        fitw_job *job = NULL;
        fitw_outcome *outcome = NULL;
        fitw_feature *feature = NULL;
        fitw_parameter p = FITW_ZERO;
        fitw_str json;
        p.struct_size = sizeof p;
        new_context();
        OK(fitw_job_create(ctx, text(turn == 1 ? own : head), text(folder), &job));
        if (turn == 0)
            OK(fitw_plugins_load(ctx, text(inside("plugins")), &o, NULL));
        else
            OK(fitw_plugins_load(ctx, text(""), &o, NULL));
        if (turn == 2) {
            IS(FITW_E_JOB, fitw_job_run(ctx, job, &outcome));
        } else {
            OK(fitw_job_run(ctx, job, &outcome));
            OK(fitw_outcome_json(ctx, outcome, &json));
            TRUE_(has(json, "acme.stud") && has(json, "\"diameter\""));
            OK(fitw_outcome_feature(ctx, outcome, 0, &feature));
            OK(fitw_feature_parameter_named(ctx, feature, text("length"), &p));
            length[turn] = p.value[0];
            OK(fitw_feature_release(feature));
            OK(fitw_outcome_release(outcome));
        }
        /* What a job names is the job's. */
        OK(fitw_plugin_count(ctx, &count));
        TRUE_(count == (turn == 0 ? 2 : 0));
        OK(fitw_job_release(job));
        OK(fitw_context_release(ctx));
    }
    TRUE_(near_to(length[0], 20.0, 0.01) && length[0] == length[1]);
}

int main(int argc, char **argv)
{
    TRUE_(argc == 3);
    folder = argv[1];
    worker = argv[2];
    make_stud();
    in_a_worker_and_here();
    refused();
    limited();
    importers();
    features();
    jobs();
    puts("plugins: ok");
    return 0;
}
