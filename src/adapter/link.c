#include "adapter/link.h"

const char *link_result_text(enum link_result r)
{
    switch (r) {
    case LINK_OK:
        return "done";
    case LINK_REFUSED:
        return "refused by the adapter";
    case LINK_TIMEOUT:
        return "no answer in time";
    case LINK_STALLED:
        return "the adapter halted its endpoint";
    case LINK_BABBLE:
        return "the adapter sent more than was asked for";
    case LINK_GONE:
        return "the adapter is gone";
    case LINK_FAILED:
        return "the transfer failed";
    }
    return "?";
}

void link_close(struct link *l)
{
    if (l->ops != NULL)
        l->ops->close(l->state);
    *l = (struct link){0};
}
