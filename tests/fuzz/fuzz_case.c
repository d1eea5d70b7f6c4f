/* A case.ini of any bytes: read, or refused with a reason. */
#include "base/asked.h"
#include "evidence/case_file.h"

#include <assert.h>
#include <stdint.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void look(const struct case_file *c)
{
    size_t seen = 0;

    for (size_t i = 0; i < c->capture_count; i++) {
        assert(c->capture[i].path != NULL && c->capture[i].file != NULL);
        assert(c->capture[i].worked <= c->capture[i].tried);
        seen += strlen(c->capture[i].name) + c->capture[i].map.count;
    }
    for (size_t i = 0; i < c->told_count; i++) {
        assert(case_key_find(c->told[i].section, c->told[i].key) != NULL);
        seen += strlen(c->told[i].value);
    }
    for (size_t i = 0; i < c->swap_count; i++)
        assert(c->swap[i].part != NULL);
    assert(seen < SIZE_MAX);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct case_file c;
    struct err_msg e = {0};
    struct buf changed;

    if (case_file_parse("case.ini", ".", (const char *)data, size, NULL, &c, &e) != ERR_OK) {
        assert(e.text[0] != '\0');
        return 0;
    }
    look(&c);
    case_file_release(&c);
    /* A text that was read can be edited, and is still read. */
    buf_init(&changed, INI_FILE_BYTES_MAX * 2u);
    if (buf_add(&changed, data, size) == ERR_OK && memchr(data, '\0', size) == NULL) {
        struct buf after;

        buf_init(&after, INI_FILE_BYTES_MAX * 2u);
        assert(case_text_set(changed.data, "observed", "lamp", "never", &after, &e) == ERR_OK);
        assert(case_file_parse("case.ini", ".", after.data, after.len, NULL, &c, &e) == ERR_OK);
        assert(strcmp(case_told(&c, "observed", "lamp"), "never") == 0);
        case_file_release(&c);
        buf_release(&after);
    }
    buf_release(&changed);
    return 0;
}
