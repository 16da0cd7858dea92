/* A host of a few lines, to try plug-ins with nothing of the engine: loads one, keeps what a fit answers.
 * All tables that a plug-in is handed end at a page that may not be touched: reading beyond the host's own
 * struct_size crashes. */
#ifndef HOST_H
#define HOST_H

#include <dlfcn.h>
#include <fitwright_plugin.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <time.h>
#include <unistd.h>

#define TRUE_(condition)                                                                                      \
    do {                                                                                                      \
        if (!(condition)) {                                                                                   \
            fprintf(stderr, "%s:%d: not %s\n  reason: %s\n", __FILE__, __LINE__, #condition, answer.reason);  \
            exit(1);                                                                                          \
        }                                                                                                     \
    } while (0)

enum { MOST_PARAMETERS = 16, MOST_PIECES = 8, MOST_CORNERS = 8, MOST_BLOCKS = 64 };

/* What the last fit answered, and how the host behaves in the next. */
static struct {
    int32_t state;
    char reason[512];
    size_t parameter_count, piece_count, covariance_size, rejected_count, block_count;
    struct {
        char name[64];
        double value[3];
    } parameters[MOST_PARAMETERS];
    double covariance[48 * 48];
    fitw_plugin_piece pieces[MOST_PIECES];
    double corners[MOST_PIECES][3 * MOST_CORNERS];
    uint32_t *rejected;
    void *blocks[MOST_BLOCKS];
    long asked, cancel_at; /* asked so often so far; then cancelled, 0: never */
    size_t memory_limit;   /* of one block, 0: none */
    clock_t last_asked, longest;
} answer;

static const fitw_plugin_fitter *fitter;

/* Memory of exactly `size` bytes in front of a page that may not be touched. */
static inline void *guarded(size_t size)
{
    size_t page = (size_t)sysconf(_SC_PAGESIZE);
    size_t room = (size + page - 1) / page * page;
    unsigned char *start = mmap(NULL, room + page, PROT_READ | PROT_WRITE, MAP_PRIVATE | MAP_ANONYMOUS, -1, 0);
    if (start == MAP_FAILED || mprotect(start + room, page, PROT_NONE) != 0) {
        perror("guarded");
        exit(1);
    }
    return start + room - size;
}

static inline int32_t kept(fitw_plugin_text name, const double *value, size_t count)
{
    if (answer.parameter_count == MOST_PARAMETERS || name.length >= 64)
        return FITW_PLUGIN_E_LIMIT;
    memcpy(answer.parameters[answer.parameter_count].name, name.data, name.length);
    memcpy(answer.parameters[answer.parameter_count++].value, value, count * sizeof *value);
    return FITW_PLUGIN_OK;
}

static inline int32_t host_cancelled(const fitw_plugin_call *call)
{
    clock_t now = clock();
    (void)call;
    if (answer.asked > 0 && now - answer.last_asked > answer.longest)
        answer.longest = now - answer.last_asked;
    answer.last_asked = now;
    return ++answer.asked >= answer.cancel_at && answer.cancel_at > 0;
}

static inline int32_t host_progress(const fitw_plugin_call *call, double fraction)
{
    TRUE_(fraction >= 0.0 && fraction <= 1.0);
    return host_cancelled(call);
}

static inline void *host_allocate(const fitw_plugin_call *call, size_t bytes)
{
    (void)call;
    if ((answer.memory_limit > 0 && bytes > answer.memory_limit) || answer.block_count == MOST_BLOCKS)
        return NULL;
    return answer.blocks[answer.block_count++] = malloc(bytes);
}

static inline void host_reason(const fitw_plugin_call *call, fitw_plugin_text text)
{
    (void)call;
    snprintf(answer.reason, sizeof answer.reason, "%.*s", (int)text.length, (const char *)text.data);
}

static inline int32_t host_number(const fitw_plugin_call *call, fitw_plugin_text name, int32_t unit, double value)
{
    (void)call, (void)unit;
    return kept(name, &value, 1);
}

static inline int32_t host_place(const fitw_plugin_call *call, fitw_plugin_text name, const double *xyz)
{
    (void)call;
    return kept(name, xyz, 3);
}

static inline int32_t host_table(const fitw_plugin_call *call, fitw_plugin_text name,
                                 const fitw_plugin_column *columns, size_t column_count, const double *values,
                                 size_t rows)
{
    (void)call, (void)name, (void)columns, (void)column_count, (void)values, (void)rows;
    return FITW_PLUGIN_OK;
}

static inline int32_t host_covariance(const fitw_plugin_call *call, const double *values, size_t size)
{
    (void)call;
    if (size > 48)
        return FITW_PLUGIN_E_LIMIT;
    answer.covariance_size = size;
    memcpy(answer.covariance, values, size * size * sizeof *values);
    return FITW_PLUGIN_OK;
}

static inline int32_t host_piece(const fitw_plugin_call *call, const fitw_plugin_piece *piece)
{
    (void)call;
    if (answer.piece_count == MOST_PIECES)
        return FITW_PLUGIN_E_LIMIT;
    if (piece->loop_count > 0) {
        TRUE_(piece->loop_count == 1 && piece->loop_sizes[0] <= MOST_CORNERS);
        memcpy(answer.corners[answer.piece_count], piece->outline_mm, 3 * piece->loop_sizes[0] * sizeof(double));
    }
    answer.pieces[answer.piece_count++] = *piece;
    return FITW_PLUGIN_OK;
}

static inline int32_t host_rejected(const fitw_plugin_call *call, const uint32_t *points, size_t count)
{
    (void)call;
    answer.rejected = realloc(answer.rejected, count * sizeof *points);
    memcpy(answer.rejected, points, count * sizeof *points);
    answer.rejected_count = count;
    return FITW_PLUGIN_OK;
}

static inline int32_t host_note(const fitw_plugin_call *call, fitw_plugin_text text)
{
    (void)call, (void)text;
    return FITW_PLUGIN_OK;
}

static inline void host_log(void *host, int32_t level, fitw_plugin_text text)
{
    (void)host;
    fprintf(stderr, "log %d: %.*s\n", (int)level, (int)text.length, (const char *)text.data);
}

static inline const void *host_ability(void *host, fitw_plugin_text id)
{
    (void)host, (void)id;
    return NULL;
}

static inline int is(fitw_plugin_text text, const char *expected)
{
    return text.length == strlen(expected) && memcmp(text.data, expected, text.length) == 0;
}

/* Loads a plug-in and tells it the versions from `lowest` to `highest`; what its entry returned. */
static inline int32_t entered(const char *path, uint32_t lowest, uint32_t highest, fitw_plugin_table **table)
{
    fitw_plugin_host *host = guarded(sizeof *host);
    fitw_plugin_entry_fn entry;
    void *library = dlopen(path, RTLD_NOW | RTLD_LOCAL), *symbol;
    if (library == NULL || (symbol = dlsym(library, FITW_PLUGIN_ENTRY)) == NULL) {
        fprintf(stderr, "%s\n", dlerror());
        exit(1);
    }
    memcpy(&entry, &symbol, sizeof entry);
    host->struct_size = sizeof *host, host->version = FITW_PLUGIN_VERSION, host->host = NULL;
    host->name.data = (const uint8_t *)"mini 1", host->name.length = 6;
    host->log = host_log, host->ability = host_ability;
    *table = guarded(sizeof **table);
    memset(*table, 0, sizeof **table);
    (*table)->struct_size = sizeof **table;
    return entry(lowest, highest, host, *table);
}

/* Loads a plug-in with all versions of this header's major number, and chooses a fitter. */
static inline void load(const char *path, const char *id)
{
    fitw_plugin_table *table;
    TRUE_(entered(path, FITW_PLUGIN_OLDEST, FITW_PLUGIN_VERSION, &table) == FITW_PLUGIN_OK);
    TRUE_(table->version >= FITW_PLUGIN_OLDEST && table->version <= FITW_PLUGIN_VERSION);
    TRUE_(table->struct_size <= sizeof *table);
    for (size_t i = 0; i < table->fitter_count; ++i)
        if (is(table->fitters[i]->id, id))
            fitter = table->fitters[i];
    TRUE_(fitter != NULL);
}

/* Fits; the points and `input` as given but for its size, in memory of exactly their size. */
static inline int32_t fitted(const fitw_plugin_input *given)
{
    static fitw_plugin_input *input;
    static fitw_plugin_call *call;
    long cancel_at = answer.cancel_at;
    size_t memory_limit = answer.memory_limit;
    uint32_t *rejected = answer.rejected;
    if (input == NULL)
        input = guarded(sizeof *input), call = guarded(sizeof *call);
    *input = *given;
    input->struct_size = sizeof *input;
    call->struct_size = sizeof *call, call->reserved = 0, call->host = NULL;
    call->progress = host_progress, call->cancelled = host_cancelled, call->allocate = host_allocate;
    call->reason = host_reason, call->number = host_number, call->point = host_place;
    call->direction = host_place, call->table = host_table, call->covariance = host_covariance;
    call->piece = host_piece, call->rejected = host_rejected, call->note = host_note;
    memset(&answer, 0, sizeof answer);
    answer.cancel_at = cancel_at, answer.memory_limit = memory_limit, answer.rejected = rejected;
    answer.state = fitter->fit(fitter->data, input, call);
    while (answer.block_count > 0)
        free(answer.blocks[--answer.block_count]);
    return answer.state;
}

/* Values of the parameter of a name. */
static inline const double *parameter(const char *name)
{
    for (size_t i = 0; i < answer.parameter_count; ++i)
        if (strcmp(answer.parameters[i].name, name) == 0)
            return answer.parameters[i].value;
    fprintf(stderr, "no parameter %s\n", name);
    exit(1);
}

static inline double uniform(uint64_t *state)
{
    *state = *state * 6364136223846793005u + 1442695040888963407u;
    return ((double)(*state >> 11) + 0.5) / 9007199254740992.0;
}

static inline double normal(uint64_t *state)
{
    double radius = sqrt(-2.0 * log(uniform(state)));
    return radius * cos(6.283185307179586 * uniform(state));
}

#endif
