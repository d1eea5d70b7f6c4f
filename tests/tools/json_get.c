/* json_get FILE PATH...: prints the value at each path ("verdict.end", "next.0.test"), one a
 * line;
 * "-" reads standard input. Without a path it only checks that FILE is one valid document. Exit
 * status 1: not valid; 2: a path leads nowhere.
 */
#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const json_t *member(const json_t *v, const char *name, size_t len)
{
    char key[256];

    if (len >= sizeof key)
        return NULL;
    memcpy(key, name, len);
    key[len] = '\0';
    if (json_is_array(v))
        return json_array_get(v, strtoul(key, NULL, 10));
    return json_object_get(v, key);
}

static const json_t *walk(const json_t *v, const char *path)
{
    while (v && *path) {
        size_t len = strcspn(path, ".");

        v = member(v, path, len);
        path += len + (path[len] == '.');
    }
    return v;
}

static void print(const json_t *v)
{
    if (json_is_string(v))
        printf("%s\n", json_string_value(v));
    else {
        json_dumpf(v, stdout, JSON_ENCODE_ANY | JSON_REAL_PRECISION(12));
        printf("\n");
    }
}

int main(int argc, char **argv)
{
    json_error_t error;
    json_t *document;
    int status = 0;

    if (argc < 2)
        return 64;
    document = strcmp(argv[1], "-") ? json_load_file(argv[1], JSON_REJECT_DUPLICATES, &error)
                                    : json_loadf(stdin, JSON_REJECT_DUPLICATES, &error);
    if (!document) {
        fprintf(stderr, "%s:%d: %s\n", argv[1], error.line, error.text);
        return 1;
    }
    for (int i = 2; i < argc && !status; i++) {
        const json_t *v = walk(document, argv[i]);

        if (v)
            print(v);
        else {
            fprintf(stderr, "%s: no %s\n", argv[1], argv[i]);
            status = 2;
        }
    }
    json_decref(document);
    return status;
}
