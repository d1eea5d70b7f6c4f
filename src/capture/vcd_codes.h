/* Identifier codes of a VCD: any printable word, looked up by hash. */
#ifndef WHICHEND_CAPTURE_VCD_CODES_H
#define WHICHEND_CAPTURE_VCD_CODES_H

#include "base/err.h"
#include "capture/names.h"

#include <stdint.h>

#define VCD_CODES_MAX      (1u << 20)
#define VCD_CODE_BYTES_MAX (32u << 20)
#define VCD_NO_CODE        UINT32_MAX

struct vcd_code {
    uint64_t hash;
    uint32_t at; /* in text */
    uint32_t len;
    uint8_t kind;   /* enum name_kind */
    uint8_t target; /* first of its targets, 1-based; 0: not read */
};

struct vcd_codes {
    struct vcd_code *code;
    size_t count;
    size_t cap;
    uint8_t *text;
    size_t text_len;
    size_t text_cap;
    uint32_t *slot; /* index of code + 1; 0: empty */
    size_t slots;   /* a power of two */
};

void vcd_codes_release(struct vcd_codes *c);

/* Index of a code, or VCD_NO_CODE. */
uint32_t vcd_codes_find(const struct vcd_codes *c, const uint8_t *word, size_t len);

/* Find it or take it in with this kind. ERR_MEMORY past the ceilings. */
enum err vcd_codes_add(struct vcd_codes *c, const uint8_t *word, size_t len,
                       enum name_kind kind, uint32_t *index);

#endif
