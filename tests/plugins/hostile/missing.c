/* A library without the one function of a plug-in; the function here has nearly its name. */
#include <fitwright_plugin.h>

#define CASE(name) FITW_PLUGIN_EXPORT int32_t fitw_plugin_enter(void); int32_t fitw_plugin_enter(void)

/* Not loaded: the reason names the function that is missing. */
CASE(no_entry)
{
    return FITW_PLUGIN_OK;
}
