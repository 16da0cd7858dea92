/* Wrong from the start: versions, tables, ids. No call of a fitter is ever made. */
#define CASE(name)                                                                                            \
    UNUSED static int32_t name(uint32_t lowest, uint32_t highest, const fitw_plugin_host *host,               \
                               fitw_plugin_table *table)
#include "ball.h"

#define HOST_GIVEN (void)lowest, (void)highest, (void)host, (void)table
#define ENDLESS ((size_t)1 << 60)

static int32_t fit(const void *data, const fitw_plugin_input *input, const fitw_plugin_call *call)
{
    ball b = honest(input);
    (void)data;
    return report(call, &b);
}

/* An honest table with a copy of its fitter to spoil. */
static fitw_plugin_fitter *spoilable(fitw_plugin_table *table)
{
    static fitw_plugin_fitter copy;
    static const fitw_plugin_fitter *fitters[1];
    introduce(table, fit);
    copy = *table->fitters[0];
    fitters[0] = &copy;
    table->fitters = fitters;
    return &copy;
}

/* Not loaded: version 9.0 lies outside what the host offered. */
CASE(version_nine)
{
    HOST_GIVEN;
    introduce(table, fit);
    table->version = 9u << 16;
    return FITW_PLUGIN_OK;
}

/* Not loaded: no version in common; the reason names the plug-in's 9.0 and the host's lowest and highest. */
CASE(refuses_version)
{
    HOST_GIVEN;
    table->version = 9u << 16;
    return FITW_PLUGIN_E_VERSION;
}

/* Not loaded: the entry answers an error, which is named. */
CASE(entry_fails)
{
    HOST_GIVEN;
    return FITW_PLUGIN_E_INTERNAL;
}

/* Not loaded: it says OK and leaves the table as it was. */
CASE(empty_table)
{
    HOST_GIVEN;
    return FITW_PLUGIN_OK;
}

/* Not loaded: one fitter is promised and the list is NULL. */
CASE(null_fitters)
{
    HOST_GIVEN;
    introduce(table, fit);
    table->fitters = NULL;
    return FITW_PLUGIN_OK;
}

/* Not loaded: the list's one pointer is NULL. */
CASE(null_fitter)
{
    static const fitw_plugin_fitter *fitters[1];
    HOST_GIVEN;
    introduce(table, fit);
    table->fitters = fitters;
    return FITW_PLUGIN_OK;
}

/* Not loaded: no fitter. */
CASE(no_fitters)
{
    HOST_GIVEN;
    introduce(table, fit);
    table->fitter_count = 0;
    return FITW_PLUGIN_OK;
}

/* Not loaded: 2^60 fitters are more than the manifest names; none of them is read. */
CASE(countless_fitters)
{
    HOST_GIVEN;
    introduce(table, fit);
    table->fitter_count = ENDLESS;
    return FITW_PLUGIN_OK;
}

/* Not loaded: the plug-in claims to have written no table. */
CASE(table_of_no_size)
{
    HOST_GIVEN;
    introduce(table, fit);
    table->struct_size = 0;
    return FITW_PLUGIN_OK;
}

/* Not loaded: a fitter's struct ends before its fields. */
CASE(fitter_of_no_size)
{
    HOST_GIVEN;
    spoilable(table)->struct_size = 0;
    return FITW_PLUGIN_OK;
}

/* Not loaded: a fitter without a function. */
CASE(null_fit)
{
    HOST_GIVEN;
    spoilable(table)->fit = NULL;
    return FITW_PLUGIN_OK;
}

/* Not loaded: an id of 2^60 bytes, of which none is read. */
CASE(endless_id)
{
    HOST_GIVEN;
    introduce(table, fit);
    table->id.length = ENDLESS;
    return FITW_PLUGIN_OK;
}

/* Not loaded: a title of 2^60 bytes, of which none is read. */
CASE(endless_title)
{
    HOST_GIVEN;
    spoilable(table)->title.length = ENDLESS;
    return FITW_PLUGIN_OK;
}

/* Not loaded: a title at NULL. */
CASE(null_title)
{
    HOST_GIVEN;
    spoilable(table)->title.data = NULL;
    return FITW_PLUGIN_OK;
}

/* Not loaded: the id is not that of the manifest; both are named. */
CASE(other_id)
{
    static const fitw_plugin_text id = FITW_PLUGIN_TEXT("hostile.somebody-else");
    HOST_GIVEN;
    introduce(table, fit);
    table->id = id;
    return FITW_PLUGIN_OK;
}

/* Not loaded: the fitter's id is not in the manifest. */
CASE(other_fitter)
{
    static const fitw_plugin_text id = FITW_PLUGIN_TEXT("hostile.surprise");
    HOST_GIVEN;
    spoilable(table)->id = id;
    return FITW_PLUGIN_OK;
}

/* Not loaded: the fitter's id is not UTF-8. */
CASE(fitter_id_not_utf8)
{
    static const fitw_plugin_text id = FITW_PLUGIN_TEXT("hostile.\xff\xfe");
    HOST_GIVEN;
    spoilable(table)->id = id;
    return FITW_PLUGIN_OK;
}

/* Not loaded: two fitters of one id. */
CASE(same_fitter_twice)
{
    static const fitw_plugin_fitter *fitters[2];
    HOST_GIVEN;
    introduce(table, fit);
    fitters[0] = fitters[1] = table->fitters[0];
    table->fitters = fitters, table->fitter_count = 2;
    return FITW_PLUGIN_OK;
}

/* Not loaded: a shape code that the interface does not have. */
CASE(fitter_of_unknown_shape)
{
    HOST_GIVEN;
    spoilable(table)->shape = 12345;
    return FITW_PLUGIN_OK;
}

/* Not loaded: a composite without a name of its kind. */
CASE(no_kind)
{
    HOST_GIVEN;
    spoilable(table)->kind.length = 0;
    return FITW_PLUGIN_OK;
}

/* Not loaded: works with no point at all. */
CASE(minimum_of_nothing)
{
    HOST_GIVEN;
    spoilable(table)->minimum_points = 0;
    return FITW_PLUGIN_OK;
}

/* Not loaded: an option whose standard value is not a number. */
CASE(option_not_a_number)
{
    static fitw_plugin_option option;
    static const fitw_plugin_option *options[1];
    static const fitw_plugin_text name = FITW_PLUGIN_TEXT("width");
    fitw_plugin_fitter *fitter = spoilable(table);
    HOST_GIVEN;
    option.struct_size = sizeof option, option.sort = FITW_PLUGIN_OPTION_NUMBER, option.unit = FITW_PLUGIN_UNIT_MM;
    option.name = option.description = name;
    option.standard = NAN, option.least = 0.0, option.most = 1.0;
    options[0] = &option;
    fitter->options = options, fitter->option_count = 1;
    return FITW_PLUGIN_OK;
}

/* Not loaded: 2^60 options, of which none is read. */
CASE(countless_options)
{
    static const fitw_plugin_option *options[1];
    fitw_plugin_fitter *fitter = spoilable(table);
    HOST_GIVEN;
    fitter->options = options, fitter->option_count = ENDLESS;
    return FITW_PLUGIN_OK;
}

/* Not loaded, and the host lives: the worker dies of a signal. */
CASE(crash_in_entry)
{
    volatile int *volatile nowhere = NULL;
    HOST_GIVEN;
    *nowhere = 1;
    return introduce(table, fit);
}

/* Not loaded, and the host lives: the worker ends with state 0 as if all were well. */
CASE(exit_in_entry)
{
    HOST_GIVEN;
    exit(0);
}

/* Not loaded: the time limit ends it. */
CASE(hang_in_entry)
{
    volatile int forever = 1;
    HOST_GIVEN;
    while (forever) {}
    return introduce(table, fit);
}

int32_t fitw_plugin_entry(uint32_t lowest, uint32_t highest, const fitw_plugin_host *host, fitw_plugin_table *table)
{
    return MISBEHAVIOUR(lowest, highest, host, table);
}
