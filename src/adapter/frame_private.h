/* Between frame.c, which finds frames, and frame_records.c, which takes them apart. */
#ifndef WHICHEND_ADAPTER_FRAME_PRIVATE_H
#define WHICHEND_ADAPTER_FRAME_PRIVATE_H

#include "adapter/frame.h"

/* Everything in it lies where it must, so that telling it cannot fail half-way. */
bool frame_holds_together(const uint8_t *f, size_t len);
/* Tell what it holds; it holds together and follows on what came before. */
enum err frame_tell_records(struct frame_parser *p, const uint8_t *f, size_t len,
                            struct err_msg *e);
enum err frame_tell_loss(struct frame_parser *p, const struct frame_loss *loss,
                         struct err_msg *e);
/* The end of the RDATA pulse at hand. */
enum err frame_tell_rise(struct frame_parser *p, uint64_t tick, struct err_msg *e);

#endif
