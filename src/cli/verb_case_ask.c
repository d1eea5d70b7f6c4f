/* case ask: the open questions of a case one by one, the one that tells most first. */
#include "cli/case_edit.h"
#include "judge/questions.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define ANSWER_BYTES_MAX 200
#define ANSWERS_MAX      100 /* more than any key has words */
/* Below this a question tells next to nothing. */
#define TELLS_BITS 0.01

struct asking {
    bool passed[TOLD_QUESTIONS]; /* skipped in this sitting */
    int answered;
};

/* The best open question that was not skipped; NULL where none is left that tells anything. */
static enum err next_question(struct asking *k, const struct case_edit *x,
                              const struct told_row **out, struct err_msg *e)
{
    struct question_rank rank[TOLD_QUESTIONS];
    struct judge_options o = {.profiles = x->profiles};
    struct case_file c;
    size_t count = 0;
    enum err code = ERR_OK;
    *out = NULL;
    TRY(edit_check(x, &c, e));
    code = judge_questions(&c, &o, rank, &count, e);
    case_file_release(&c);
    for (size_t i = 0; i < count && code == ERR_OK && *out == NULL; i++) {
        if (rank[i].bits >= TELLS_BITS &&
            !k->passed[told_question_by_key(rank[i].row->section, rank[i].row->key)]) {
            *out = rank[i].row;
        }
    }
    return code;
}

/* One line from the person, without its end; false at the end of the input. */
static bool line_in(char out[ANSWER_BYTES_MAX])
{
    if (fgets(out, ANSWER_BYTES_MAX, stdin) == NULL) {
        return false;
    }
    if (strchr(out, '\n') == NULL) {
        int c = getchar();
        while (c != EOF && c != '\n') {
            c = getchar();
        }
    }
    out[strcspn(out, "\r\n")] = '\0';
    return true;
}

static void put(const struct case_key *key)
{
    char word[CASE_WORD_MAX];
    (void)fprintf(stderr, "\n%s\n", key->question);
    for (int i = 0; case_word(key, i, word)[0] != '\0'; i++) {
        (void)fprintf(stderr, "  %d  %s\n", i + 1, word);
    }
    (void)fprintf(stderr, "number or word; empty to skip, . to stop> ");
}

/* What the person says: a word of the key in out, "" to skip. false: stop. */
static bool hear(const struct case_key *key, char out[CASE_WORD_MAX])
{
    char said[ANSWER_BYTES_MAX];
    put(key);
    while (line_in(said)) {
        char *end = NULL;
        long number = strtol(said, &end, 10);
        int place = case_word_place(key, said);
        if (strcmp(said, ".") == 0) {
            return false;
        }
        out[0] = '\0';
        if (said[0] == '\0') {
            return true;
        }
        if (place < 0 && *end == '\0' && number > 0 && number < ANSWERS_MAX) {
            place = (int)number - 1;
        }
        if (place >= 0 && case_word(key, place, out)[0] != '\0') {
            return true;
        }
        (void)fprintf(stderr, "one of the numbers or words above> ");
    }
    return false;
}

/* Ask one question and write its answer; *more false at the end. */
static enum err ask_one(struct asking *k, struct case_edit *x, bool *more, struct err_msg *e)
{
    const struct told_row *row = NULL;
    const struct case_key *key = NULL;
    char word[CASE_WORD_MAX];
    TRY(next_question(k, x, &row, e));
    *more = row != NULL;
    key = *more ? case_key_find(row->section, row->key) : NULL;
    *more = *more && hear(key, word);
    if (!*more) {
        return ERR_OK;
    }
    k->passed[told_question_by_key(row->section, row->key)] = true;
    if (word[0] == '\0') {
        return ERR_OK;
    }
    TRY(edit_set(x, row->section, row->key, word, e));
    TRY(edit_write(x, true, e));
    k->answered++;
    return ERR_OK;
}

enum err verb_case_ask(const struct args *a, struct answer *r, struct err_msg *e)
{
    struct case_edit x = {0};
    struct asking k = {0};
    bool more = true;
    enum err code = edit_begin(&x, a, a->word[0], e);
    while (code == ERR_OK && more) {
        code = ask_one(&k, &x, &more, e);
    }
    (void)fprintf(stderr, "\n");
    code = code == ERR_OK ? buf_printf(&r->out, "%d answer%s noted in %s\n", k.answered,
                                       k.answered == 1 ? "" : "s", x.file.data)
                          : code;
    edit_release(&x);
    return code;
}
