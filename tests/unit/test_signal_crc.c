/* Check bytes against published code words. */
#include "signal/signal.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static uint16_t crc_of(const uint8_t *bytes, size_t n)
{
    return crc16_update(0xFFFF, bytes, n);
}

/* Source: catalogue of parametrised CRC algorithms, CRC-16 with 1021 and start FFFF: check
 * value. */
static void the_nine_digits_give_the_catalogues_check_value(void **state)
{
    (void)state;
    assert_int_equal(crc_of((const uint8_t *)"123456789", 9), 0x29B1);
}

/* Source: the same catalogue, code words quoted from AUTOSAR R21-11, CRC routines 7.2.2.1. */
static void code_words_of_the_catalogue_come_out(void **state)
{
    (void)state;
    static const struct {
        uint8_t byte[9];
        size_t n;
        uint16_t crc;
    } word[] = {
        {{0x00, 0x00, 0x00, 0x00}, 4, 0x84C0},
        {{0xF2, 0x01, 0x83}, 3, 0xD374},
        {{0x0F, 0xAA, 0x00, 0x55}, 4, 0x2023},
        {{0x00, 0xFF, 0x55, 0x11}, 4, 0xB8F9},
        {{0x33, 0x22, 0x55, 0xAA, 0xBB, 0xCC, 0xDD, 0xEE, 0xFF}, 9, 0xF53F},
        {{0x92, 0x6B, 0x55}, 3, 0x0745},
        {{0xFF, 0xFF, 0xFF, 0xFF}, 4, 0x1D0F},
    };
    for (size_t i = 0; i < sizeof word / sizeof word[0]; i++) {
        assert_int_equal(crc_of(word[i].byte, word[i].n), word[i].crc);
    }
}

/* Source: identifiers read off a real 18-sector disk in a public capture log (handbook
 * CRC-CAPTURE). */
static void identifiers_of_a_real_disk_check(void **state)
{
    (void)state;
    static const struct {
        uint8_t sector;
        uint16_t crc;
    } id[] = {{0x01, 0xCA6F}, {0x07, 0x60C9}, {0x08, 0x70F7}, {0x12, 0x9C4F}};
    for (size_t i = 0; i < sizeof id / sizeof id[0]; i++) {
        const uint8_t field[] = {0xA1, 0xA1, 0xA1, 0xFE, 0x00, 0x00, id[i].sector, 0x02};
        assert_int_equal(crc_of(field, sizeof field), id[i].crc);
    }
}

/* Source: a public controller design note (handbook CRC-WORKED): 512 zeros behind the data
 * mark. */
static void data_field_of_zeros_checks(void **state)
{
    (void)state;
    uint8_t field[4 + 512] = {0xA1, 0xA1, 0xA1, 0xFB};
    assert_int_equal(crc_of(field, 3), 0xCDB4);
    assert_int_equal(crc_of(field, sizeof field), 0xDA6E);
}

static void a_field_with_its_check_bytes_leaves_nothing(void **state)
{
    (void)state;
    const uint8_t field[] = {0xA1, 0xA1, 0xA1, 0xFE, 0x00, 0x00, 0x01, 0x02, 0xCA, 0x6F};
    const uint8_t swapped[] = {0xA1, 0xA1, 0xA1, 0xFE, 0x00, 0x00, 0x01, 0x02, 0x6F, 0xCA};
    assert_int_equal(crc_of(field, sizeof field), 0);
    assert_int_equal(crc_of(swapped, sizeof swapped), 0x07C4); /* computed: handbook CRC-ERR */
}

/* Source: handbook CRC-1BIT, computed: a single changed bit never passes. */
static void every_single_changed_bit_is_caught(void **state)
{
    (void)state;
    uint8_t field[3 + 1 + 512 + 2] = {0xA1, 0xA1, 0xA1, 0xFB};
    uint16_t crc;
    for (size_t i = 4; i < 516; i++) {
        field[i] = (uint8_t)(i * 37);
    }
    crc = crc_of(field, 516);
    field[516] = (uint8_t)(crc >> 8);
    field[517] = (uint8_t)crc;
    assert_int_equal(crc_of(field, sizeof field), 0);
    for (size_t bit = 0; bit < 8 * (sizeof field - 3); bit++) {
        field[3 + bit / 8] ^= (uint8_t)(1u << bit % 8);
        assert_int_not_equal(crc_of(field, sizeof field), 0);
        field[3 + bit / 8] ^= (uint8_t)(1u << bit % 8);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_nine_digits_give_the_catalogues_check_value),
        cmocka_unit_test(code_words_of_the_catalogue_come_out),
        cmocka_unit_test(identifiers_of_a_real_disk_check),
        cmocka_unit_test(data_field_of_zeros_checks),
        cmocka_unit_test(a_field_with_its_check_bytes_leaves_nothing),
        cmocka_unit_test(every_single_changed_bit_is_caught),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
