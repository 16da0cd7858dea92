/* Races planted on purpose, to show that the race checker that threads.c runs under finds them: "host" in a
 * variable of the host, "lent" in points that a host writes to while the library reads them, which the header
 * forbids, "none" the same without it. */
#include "common.h"
#include <pthread.h>

static long shared;

static void *count(void *argument)
{
    int i;
    for (i = 0; i < 1000; ++i)
        ++shared;
    return argument;
}

/* Reads every point: a new scan of the lent ones, and its normals. */
static void *look(void *mesh)
{
    fitw_context *own = NULL;
    fitw_scan *scan = NULL;
    const double *normals;
    size_t points;
    TRUE_(fitw_context_create(NULL, &own) == FITW_OK);
    TRUE_(fitw_scan_create(own, mesh, &scan) == FITW_OK);
    TRUE_(fitw_scan_normals_view(own, scan, &normals, &points) == FITW_OK);
    TRUE_(fitw_scan_release(scan) == FITW_OK);
    TRUE_(fitw_context_release(own) == FITW_OK);
    return NULL;
}

int main(int argc, char **argv)
{
    machine m = make_machine();
    fitw_mesh mesh = mesh_of(&m);
    pthread_t other;
    size_t i;
    TRUE_(argc == 2);
    mesh.flags = FITW_MESH_BORROW;
    if (strcmp(argv[1], "host") == 0) {
        TRUE_(pthread_create(&other, NULL, count, NULL) == 0);
        count(NULL);
    } else {
        TRUE_(pthread_create(&other, NULL, look, &mesh) == 0);
        /* Few: the checker remembers the place of so many. */
        if (strcmp(argv[1], "lent") == 0)
            for (i = 0; i < 300; ++i)
                m.points[i] += 1e-9;
    }
    TRUE_(pthread_join(other, NULL) == 0);
    free_machine(&m);
    puts("races: ok");
    return 0;
}
