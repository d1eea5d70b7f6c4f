/* Cells of several turns put together. */
#include "signal/repair.h"

#include "signal/flux_private.h"

#include <stdlib.h>
#include <string.h>

#define WEAK_BITS  3 /* least sure bits whose other values are tried */
#define WEAK_APART 6 /* bits: nearer ones belong to one other reading */
/* Surer bits are left alone: what is wrong there was written so. One sure cell turned over
 * costs as much. */
#define WEAK_MARGIN (2 * QUALITY_MAX)
#define FULL_TURNS  5 /* up to here the nearly as likely are tried as well */
#define CHANCE_BITS 65536.0
#define BITS_BYTE   8
#define NO_FORCE    (-1)

/* Bits of a field on their way through the trellis. In both codes a data bit has a clock cell
 * before it; MFM's holds a transition between two zeros, FM's always. */
struct trellis {
    const struct field_sum *f;
    size_t bits;
    int32_t (*forward)[2]; /* best score up to a bit, by its value */
    uint8_t *back;         /* value of the bit before: bit 0 for value 0, bit 1 for value 1 */
    int8_t *forced;        /* NO_FORCE, or the value that a bit must take */
    uint8_t *bytes;
    struct weak {
        size_t bit;
        int32_t margin;
    } weak[WEAK_BITS];
    int weak_count;
};

static bool clock_cell(const struct trellis *t, int before, int bit)
{
    return t->f->encoding == ENC_FM || (before == 0 && bit == 0);
}

static int32_t score(const struct trellis *t, size_t i, int before, int bit)
{
    int32_t clock = t->f->quality[2 * i];
    int32_t data = t->f->quality[2 * i + 1];
    return (clock_cell(t, before, bit) ? clock : -clock) + (bit != 0 ? data : -data);
}

static bool may_be(const struct trellis *t, size_t i, int bit)
{
    return t->forced[i] == NO_FORCE || t->forced[i] == bit;
}

/* The likeliest bits. In front of the field stands a one: the mark's last bit. */
static void likeliest(struct trellis *t)
{
    const int32_t never = INT32_MIN / 4;
    int32_t before[2] = {never, 0};
    for (size_t i = 0; i < t->bits; i++) {
        t->back[i] = 0;
        for (int bit = 0; bit < 2; bit++) {
            int32_t zero = before[0] + score(t, i, 0, bit);
            int32_t one = before[1] + score(t, i, 1, bit);
            t->back[i] |= (uint8_t)((one > zero) << bit);
            t->forward[i][bit] = may_be(t, i, bit) ? (one > zero ? one : zero) : never;
        }
        memcpy(before, t->forward[i], sizeof before);
    }
    memset(t->bytes, 0, t->bits / BITS_BYTE);
    int bit = before[1] > before[0];
    for (size_t i = t->bits; i-- > 0;) {
        t->bytes[i / BITS_BYTE] |= (uint8_t)(bit << (BITS_BYTE - 1 - i % BITS_BYTE));
        bit = t->back[i] >> bit & 1;
    }
}

/* Keep a bit among the least sure: of near ones the least. */
static void weak_keep(struct trellis *t, size_t bit, int32_t margin)
{
    int at = t->weak_count;
    if (margin >= WEAK_MARGIN) {
        return;
    }
    for (int k = 0; k < t->weak_count; k++) {
        if (t->weak[k].bit - bit < WEAK_APART) { /* bits come from the last to the first */
            if (t->weak[k].margin <= margin) {
                return;
            }
            at = k;
        }
    }
    if (at == t->weak_count && at < WEAK_BITS) {
        t->weak_count++;
    } else if (at == t->weak_count) {
        at = WEAK_BITS - 1;
        if (t->weak[at].margin <= margin) {
            return;
        }
    }
    for (; at > 0 && t->weak[at - 1].margin > margin; at--) {
        t->weak[at] = t->weak[at - 1];
    }
    t->weak[at] = (struct weak){bit, margin};
}

/* How much likelier the likeliest sequence is than the likeliest with a bit the other way; the
 * forward scores are those of the likeliest. */
static void weak_find(struct trellis *t)
{
    int32_t behind[2] = {0, 0};
    t->weak_count = 0;
    for (size_t i = t->bits; i-- > 0;) {
        int32_t zero = t->forward[i][0] + behind[0];
        int32_t one = t->forward[i][1] + behind[1];
        int32_t next[2];
        weak_keep(t, i, one > zero ? one - zero : zero - one);
        for (int before = 0; before < 2; before++) {
            int32_t to_zero = behind[0] + score(t, i, before, 0);
            int32_t to_one = behind[1] + score(t, i, before, 1);
            next[before] = to_one > to_zero ? to_one : to_zero;
        }
        memcpy(behind, next, sizeof behind);
    }
}

static int bit_at(const uint8_t *bytes, size_t i)
{
    return bytes[i / BITS_BYTE] >> (BITS_BYTE - 1 - i % BITS_BYTE) & 1;
}

/* MFM's mark byte is among the bits, and must be one. */
static bool agrees(const struct trellis *t)
{
    const struct field_sum *f = t->f;
    if (f->encoding == ENC_FM) {
        return crc16_update(crc16_update(CRC_START, &f->mark, 1), t->bytes,
                            t->bits / BITS_BYTE) == 0;
    }
    return t->bytes[0] == f->mark &&
           crc16_update(CRC_AFTER_A1, t->bytes, t->bits / BITS_BYTE) == 0;
}

/* The likeliest, then every choice of the weak bits' values. */
static bool try_all(struct trellis *t, struct field_sum *f)
{
    struct weak weak[WEAK_BITS];
    int8_t value[WEAK_BITS];
    bool full = f->turns <= FULL_TURNS;
    likeliest(t);
    f->tries++;
    if (agrees(t)) {
        return true;
    }
    weak_find(t);
    int count = full ? t->weak_count : 0;
    memcpy(weak, t->weak, sizeof weak);
    for (int k = 0; k < count; k++) {
        value[k] = (int8_t)!bit_at(t->bytes, weak[k].bit);
    }
    for (unsigned choice = 1; choice < 1u << count && f->tries < REPAIR_TRIES_MAX; choice++) {
        for (int k = 0; k < count; k++) {
            t->forced[weak[k].bit] = (choice >> k & 1u) != 0 ? value[k] : NO_FORCE;
        }
        likeliest(t);
        f->tries++;
        if (agrees(t)) {
            return true;
        }
    }
    return false;
}

static int32_t changed_cells(const struct trellis *t)
{
    int32_t changed = 0;
    int before = 1;
    for (size_t i = 0; i < t->bits; i++) {
        int bit = bit_at(t->bytes, i);
        changed += clock_cell(t, before, bit) != bit_at(t->f->surest, 2 * i);
        changed += bit != bit_at(t->f->surest, 2 * i + 1);
        before = bit;
    }
    return changed;
}

static void trellis_release(struct trellis *t)
{
    free(t->forward);
    free(t->back);
    free(t->forced);
    free(t->bytes);
}

static bool trellis_make(struct trellis *t, const struct field_sum *f)
{
    *t = (struct trellis){.f = f, .bits = f->cells / 2};
    t->forward = calloc(t->bits, sizeof *t->forward);
    t->back = malloc(t->bits);
    t->forced = malloc(t->bits);
    t->bytes = malloc(t->bits / BITS_BYTE + 1);
    if (t->forward == NULL || t->back == NULL || t->forced == NULL || t->bytes == NULL) {
        trellis_release(t);
        return false;
    }
    memset(t->forced, NO_FORCE, t->bits);
    return true;
}

/* After 1, 2, 3, 5, 10, 20, 40... turns: often enough, and few tries in all. */
static bool is_time(int32_t turns)
{
    if (turns <= FULL_TURNS) {
        return turns != FULL_TURNS - 1 && turns > 0;
    }
    while (turns > FULL_TURNS && turns % 2 == 0) {
        turns /= 2;
    }
    return turns == FULL_TURNS;
}

enum err field_sum_repair(struct field_sum *f, uint8_t *bytes, struct field_repair *out)
{
    struct trellis t;
    *out = (struct field_repair){.agreed = false};
    if (!is_time(f->turns) || f->tries >= REPAIR_TRIES_MAX) {
        return ERR_OK;
    }
    if (!trellis_make(&t, f)) {
        return ERR_MEMORY;
    }
    if (try_all(&t, f)) {
        *out = (struct field_repair){
            true, f->turns, changed_cells(&t), f->tries, f->tries / CHANCE_BITS, f->mark};
        if (bytes != NULL) {
            memcpy(bytes, t.bytes + (f->encoding != ENC_FM), (size_t)128 << f->size_code);
        }
    }
    trellis_release(&t);
    return ERR_OK;
}

static enum err sum_begin(struct field_sum *f, const struct sector_read *s)
{
    f->quality = calloc(s->cells, 1);
    f->surest = calloc(s->cells / BITS_BYTE + 1, 1);
    if (f->quality == NULL || f->surest == NULL) {
        field_sum_release(f);
        return ERR_MEMORY;
    }
    f->cells = s->cells;
    f->encoding = s->encoding;
    f->size_code = s->size_code;
    f->mark = s->mark;
    return ERR_OK;
}

static void surest_set(struct field_sum *f, const struct sector_read *s)
{
    memset(f->surest, 0, f->cells / BITS_BYTE + 1);
    for (size_t i = 0; i < f->cells; i++) {
        f->surest[i / BITS_BYTE] |=
            (uint8_t)((s->quality[i] > 0) << (BITS_BYTE - 1 - i % BITS_BYTE));
    }
}

enum err field_sum_add(struct field_sum *f, const struct sector_read *s)
{
    int64_t sureness = 0;
    if (s->quality == NULL) {
        return ERR_OK;
    }
    if (f->cells == 0) {
        TRY(sum_begin(f, s));
    }
    if (f->cells != s->cells || f->encoding != s->encoding || f->mark != s->mark) {
        return ERR_OK;
    }
    for (size_t i = 0; i < f->cells; i++) {
        int sum = f->quality[i] + s->quality[i];
        f->quality[i] = (int8_t)(sum > INT8_MAX ? INT8_MAX : sum < -INT8_MAX ? -INT8_MAX : sum);
        sureness += abs(s->quality[i]);
    }
    if (f->turns++ == 0 || sureness > f->sureness) {
        f->sureness = sureness;
        surest_set(f, s);
    }
    return ERR_OK;
}

size_t field_sum_size(const struct field_sum *f)
{
    return f->cells + f->cells / BITS_BYTE;
}

void field_sum_release(struct field_sum *f)
{
    free(f->quality);
    free(f->surest);
    memset(f, 0, sizeof *f);
}
