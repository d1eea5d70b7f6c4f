#include "capture/vcd_codes.h"

#include "base/buf.h"

#include <stdlib.h>
#include <string.h>

void vcd_codes_release(struct vcd_codes *c)
{
    free(c->code);
    free(c->text);
    free(c->slot);
    memset(c, 0, sizeof *c);
}

/* FNV-1a (public domain), folded so that the low bits depend on all. */
static uint64_t hash_of(const uint8_t *word, size_t len)
{
    uint64_t h = UINT64_C(0xcbf29ce484222325);
    for (size_t i = 0; i < len; i++)
        h = (h ^ word[i]) * UINT64_C(0x100000001b3);
    return h ^ h >> 32;
}

/* Slot that holds the word, or the empty one where it would go. */
static size_t slot_of(const struct vcd_codes *c, uint64_t hash, const uint8_t *word, size_t len)
{
    size_t i = hash & (c->slots - 1);
    while (c->slot[i] != 0) {
        const struct vcd_code *code = &c->code[c->slot[i] - 1];
        if (code->hash == hash && code->len == len &&
            memcmp(c->text + code->at, word, len) == 0)
            break;
        i = (i + 1) & (c->slots - 1);
    }
    return i;
}

uint32_t vcd_codes_find(const struct vcd_codes *c, const uint8_t *word, size_t len)
{
    if (c->slots == 0)
        return VCD_NO_CODE;
    uint32_t found = c->slot[slot_of(c, hash_of(word, len), word, len)];
    return found != 0 ? found - 1 : VCD_NO_CODE;
}

/* Twice the slots, at most half full. */
static enum err grow_slots(struct vcd_codes *c)
{
    size_t slots = c->slots != 0 ? 2 * c->slots : 256;
    uint32_t *slot = calloc(slots, sizeof *slot);
    if (slot == NULL)
        return ERR_MEMORY;
    for (size_t k = 0; k < c->count; k++) {
        size_t i = c->code[k].hash & (slots - 1);
        while (slot[i] != 0)
            i = (i + 1) & (slots - 1);
        slot[i] = (uint32_t)k + 1;
    }
    free(c->slot);
    c->slot = slot;
    c->slots = slots;
    return ERR_OK;
}

enum err vcd_codes_add(struct vcd_codes *c, const uint8_t *word, size_t len,
                       enum name_kind kind, uint32_t *index)
{
    if (2 * (c->count + 1) > c->slots)
        TRY(grow_slots(c));
    uint64_t hash = hash_of(word, len);
    size_t i = slot_of(c, hash, word, len);
    if (c->slot[i] != 0) {
        *index = c->slot[i] - 1;
        return ERR_OK;
    }
    void *codes = c->code;
    void *text = c->text;
    TRY(array_grow(&codes, &c->cap, c->count + 1, sizeof *c->code, VCD_CODES_MAX));
    c->code = codes;
    TRY(array_grow(&text, &c->text_cap, c->text_len + len, 1, VCD_CODE_BYTES_MAX));
    c->text = text;
    memcpy(c->text + c->text_len, word, len);
    c->code[c->count] = (struct vcd_code){
        .hash = hash, .at = (uint32_t)c->text_len, .len = (uint32_t)len, .kind = (uint8_t)kind};
    c->text_len += len;
    c->slot[i] = (uint32_t)++c->count;
    *index = (uint32_t)c->count - 1;
    return ERR_OK;
}
