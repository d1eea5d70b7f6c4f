/* What --adapter sim: can play. */
#include "cli/adapter_use.h"
#include "report/lists.h"
#include "report/text.h"
#include "sim/sim_link.h"

#include <stdlib.h>

static enum err list_json(const struct sim_link_fault_name *own, size_t owns,
                          const char *const *bus, size_t buses, struct buf *out)
{
    const char **name = calloc(owns + buses, sizeof *name);
    if (name == NULL)
        return ERR_MEMORY;
    for (size_t i = 0; i < owns; i++)
        name[i] = own[i].name;
    for (size_t i = 0; i < buses; i++)
        name[owns + i] = bus[i];
    enum err err = report_names_json("whichend.faults/1", "faults", name, owns + buses, out);
    free(name);
    return err;
}

enum err adapter_list_faults(const struct args *a, struct buf *out)
{
    const struct sim_link_fault_name *own = NULL;
    const char *const *bus = NULL;
    size_t owns = sim_link_faults(&own);
    size_t buses = sim_faults(&bus);
    if (args_has(a, OPT_JSON))
        return list_json(own, owns, bus, buses, out);
    for (size_t i = 0; i < owns; i++)
        TRY(text_wrap(out, 0, own[i].name, 32, own[i].text));
    TRY(text_wrap(out, 0, "", 0,
                  "LINE is a line's name, PAIR two joined by '+'; several with commas between. "
                  "Beside these, the faults of rehearse:"));
    for (size_t i = 0; i < buses; i++)
        TRY(buf_printf(out, "%s\n", bus[i]));
    return ERR_OK;
}
