/* Between the files of the session. */
#ifndef WHICHEND_ADAPTER_SESSION_PRIVATE_H
#define WHICHEND_ADAPTER_SESSION_PRIVATE_H

#include "adapter/session.h"

/* A request with data; `what` names it where it fails. */
enum err session_tell(struct session *s, uint8_t request, uint16_t value, const uint8_t *data,
                      size_t len, const char *what, struct err_msg *e);

#endif
