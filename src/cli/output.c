/* Terminal, progress, and the wish to stop. */
#include "cli/cli.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

volatile int stop_asked = 0;

struct text_style style_of(const struct args *a)
{
    const char *no_colour = getenv("NO_COLOR");
    const char *term = getenv("TERM");
    struct text_style s = {false, args_has(a, OPT_VERBOSE)};
    s.colour = isatty(STDOUT_FILENO) && (no_colour == NULL || no_colour[0] == '\0') &&
               term != NULL && strcmp(term, "dumb") != 0;
    return s;
}

void progress_begin(struct progress *p, const struct args *a, const char *what)
{
    p->shown = isatty(STDERR_FILENO) && !args_has(a, OPT_QUIET);
    p->what = what;
    p->last_percent = -1;
}

void progress_step(void *progress, const char *what, double share)
{
    struct progress *p = progress;
    if (what != NULL && what != p->what) {
        p->what = what;
        p->last_percent = -1;
    }
    progress_share(p, share);
}

void progress_share(void *progress, double share)
{
    struct progress *p = progress;
    int percent = (int)(100 * share);
    if (!p->shown || percent == p->last_percent) {
        return;
    }
    p->last_percent = percent;
    (void)fprintf(stderr, "\r\033[K%.60s %3d %%", p->what, percent);
}

void progress_end(struct progress *p)
{
    if (p->shown && p->last_percent >= 0) {
        (void)fputs("\r\033[K", stderr);
    }
}
