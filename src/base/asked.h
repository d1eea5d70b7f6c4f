/* What a session asked of the machine: the words of a case's `asked`, one bit each. */
#ifndef WHICHEND_BASE_ASKED_H
#define WHICHEND_BASE_ASKED_H

enum {
    ASKED_NOTHING = 1,
    ASKED_MOTOR = 2,
    ASKED_SEEK = 4,
    ASKED_RESTORE = 8,
    ASKED_READ = 16,
    ASKED_WRITE = 32,
    ASKED_FORMAT = 64,
    ASKED_VERIFY = 128,
    ASKED_BOOT = 256,
    ASKED_POWER_ON = 512
};
#define ASKED_WORDS 10

/* "read" etc. for a single bit; NULL for anything else. */
const char *asked_word(unsigned bit);
/* The bit of a word, 0 where it is none. */
unsigned asked_bit(const char *word);

#endif
