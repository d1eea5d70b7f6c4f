#include "base/asked.h"

#include <stddef.h>
#include <string.h>

static const char *const WORDS[ASKED_WORDS] = {
    "nothing", "motor",  "seek",   "restore", "read",
    "write",   "format", "verify", "boot",    "power-on",
};

const char *asked_word(unsigned bit)
{
    for (unsigned i = 0; i < ASKED_WORDS; i++)
        if (bit == 1u << i)
            return WORDS[i];
    return NULL;
}

unsigned asked_bit(const char *word)
{
    for (unsigned i = 0; i < ASKED_WORDS; i++)
        if (strcmp(word, WORDS[i]) == 0)
            return 1u << i;
    return 0;
}
