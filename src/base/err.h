/* Errors: one list, one text each, one exit status each.
 *
 * A call that can fail returns enum err (0 is success) and writes its results only on success.
 * What a person must be told (file, place, reason) travels in struct err_msg beside it.
 */
#ifndef WHICHEND_BASE_ERR_H
#define WHICHEND_BASE_ERR_H

#include <stdarg.h>

enum err {
    ERR_OK = 0,
    ERR_USAGE,       /* the call's words are off */
    ERR_FORMAT,      /* input is not what it should be */
    ERR_NO_INPUT,    /* input missing or not readable */
    ERR_ADAPTER,     /* adapter unavailable or lost */
    ERR_INTERNAL,    /* a bug of ours */
    ERR_MEMORY,      /* out of memory, or past a ceiling that only our own code can reach */
    ERR_CREATE,      /* output cannot be created */
    ERR_IO,          /* a read or write failed */
    ERR_INTERRUPTED, /* the person stopped it */
};

#define ERR_TEXT_MAX 512

/* What went wrong, in one line for a person. text is empty while code is ERR_OK. */
struct err_msg {
    enum err code;
    char text[ERR_TEXT_MAX];
};

#if defined(__GNUC__)
#define PRINTF_LIKE(f, a) __attribute__((format(printf, f, a)))
#else
#define PRINTF_LIKE(f, a)
#endif

/* Short name of a code, never NULL. */
const char *err_text(enum err code);

/* The exit status of the contract for a code (0, 64, 65, 66, 69, 70, 73, 74, 130). */
int err_exit_status(enum err code);

/* Note an error and return its code, so that a call can end in `return err_set(...)`. The first
 * error stands: a later one does not overwrite it. m may be NULL. Control bytes in the text are
 * shown as '?'. */
enum err err_set(struct err_msg *m, enum err code, const char *fmt, ...) PRINTF_LIKE(3, 4);

#define TRY(call)                                                                              \
    do {                                                                                       \
        enum err try_err_ = (call);                                                            \
        if (try_err_ != ERR_OK)                                                                \
            return try_err_;                                                                   \
    } while (0)

#endif
