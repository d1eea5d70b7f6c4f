#include "faults.h"

#include "adapter/protocol.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>

enum kind {
    UNPLUG,
    UNPLUG_REQUEST,
    UNPLUG_OUT,
    STALL,
    STALL_OUT,
    BABBLE,
    ERROR,
    FLIP,
    REPEAT,
    SILENCE,
    MUTE,
    KINDS
};

static const char *const kind_names[KINDS] = {
    "unplug", "unplug-request", "unplug-out", "stall",   "stall-out", "babble",
    "error",  "flip",           "repeat",     "silence", "mute"};

#define PACKET_MAX 1024

struct faults {
    struct usb_device device;
    struct usb_device *inner;
    bool told[KINDS];
    uint64_t at[KINDS];
    char lie[16];
    uint64_t in, out; /* bytes since the words were told */
    bool gone, halted_in, halted_out;
    uint8_t again[PACKET_MAX];
    size_t again_len;
    bool again_due;
};

bool faults_tell(struct faults *f, const char *words)
{
    memset(f->told, 0, sizeof f->told);
    f->lie[0] = '\0';
    f->in = f->out = 0;
    while (*words != '\0') {
        size_t n = strcspn(words, " ,");
        const char *equals = memchr(words, '=', n);
        size_t name = equals != NULL ? (size_t)(equals - words) : n;
        size_t k = 0;
        while (k < KINDS &&
               (strlen(kind_names[k]) != name || strncmp(words, kind_names[k], name) != 0))
            k++;
        if (equals == NULL)
            return false;
        if (k < KINDS) {
            f->told[k] = true;
            f->at[k] = strtoull(equals + 1, NULL, 0);
        } else if (name == 3 && strncmp(words, "lie", 3) == 0 && n - 4 < sizeof f->lie) {
            memcpy(f->lie, equals + 1, n - 4);
            f->lie[n - 4] = '\0';
        } else {
            return false;
        }
        words += n;
        words += strspn(words, " ,");
    }
    return true;
}

/* A fault whose place has come happens once. */
static bool due(struct faults *f, enum kind k, uint64_t now)
{
    if (!f->told[k] || now < f->at[k])
        return false;
    f->told[k] = false;
    return true;
}

static void lie(const char *word, uint8_t *data, int *n)
{
    if (*n < CAP_BYTES || word[0] == '\0')
        return;
    if (strcmp(word, "magic") == 0)
        data[CAP_MAGIC] ^= 0x20;
    else if (strcmp(word, "major") == 0)
        data[CAP_MAJOR] = PROTO_MAJOR + 1;
    else if (strcmp(word, "short") == 0)
        *n = CAP_BYTES / 2;
    else if (strcmp(word, "tick") == 0)
        memset(data + CAP_TICK_HZ, 0, 4);
    else if (strcmp(word, "length") == 0)
        memset(data + CAP_LENGTH, 0xff, 2);
    else if (strcmp(word, "zero") == 0)
        memset(data + CAP_FLAGS, 0, CAP_BYTES - CAP_FLAGS);
}

static int control(void *state, const uint8_t setup[8], uint8_t *data)
{
    struct faults *f = state;
    const int len = setup[6] | setup[7] << 8;
    if (f->gone)
        return -EAGAIN;
    if (setup[1] == REQ_FAULTS && (setup[0] & 0x80) == 0) {
        char words[256];
        if ((size_t)len >= sizeof words)
            return -EPIPE;
        memcpy(words, data, (size_t)len);
        words[len] = '\0';
        return faults_tell(f, words) ? len : -EPIPE;
    }
    if (f->told[UNPLUG_REQUEST] && f->at[UNPLUG_REQUEST] == setup[1]) {
        f->gone = true;
        return -EAGAIN;
    }
    if (f->told[MUTE] && f->at[MUTE] == setup[1])
        return -EAGAIN;
    int n = f->inner->model->control(f->inner->state, setup, data);
    if (setup[1] == REQ_IDENTIFY)
        lie(f->lie, data, &n);
    return n;
}

static int next_packet(struct faults *f, uint8_t *packet, size_t room)
{
    if (f->again_due) {
        f->again_due = false;
        memcpy(packet, f->again, f->again_len);
        return (int)f->again_len;
    }
    return f->inner->model->in(f->inner->state, packet, room);
}

static void pull(struct faults *f)
{
    if (f->told[UNPLUG] && f->in >= f->at[UNPLUG])
        f->gone = true;
}

static int in(void *state, uint8_t *packet, size_t room)
{
    struct faults *f = state;
    pull(f);
    if (f->gone || (f->told[SILENCE] && f->in >= f->at[SILENCE]))
        return -EAGAIN;
    if (due(f, STALL, f->in))
        f->halted_in = true;
    if (f->halted_in)
        return -EPIPE;
    if (due(f, BABBLE, f->in))
        return -EOVERFLOW;
    int n = next_packet(f, packet, room);
    if (n <= 0)
        return n;
    const uint64_t first = f->in, end = f->in + (uint64_t)n;
    f->in = end;
    if (end > first && due(f, ERROR, end - 1))
        return -EPROTO;
    if (f->told[FLIP] && f->at[FLIP] >= first && f->at[FLIP] < end) {
        packet[f->at[FLIP] - first] ^= 0x10;
        f->told[FLIP] = false;
    }
    if (due(f, REPEAT, end - 1)) {
        memcpy(f->again, packet, (size_t)n);
        f->again_len = (size_t)n;
        f->again_due = true;
    }
    return n;
}

static int out(void *state, const uint8_t *packet, size_t len)
{
    struct faults *f = state;
    if (f->told[UNPLUG_OUT] && f->out >= f->at[UNPLUG_OUT])
        f->gone = true;
    if (f->gone)
        return -ESHUTDOWN;
    if (due(f, STALL_OUT, f->out))
        f->halted_out = true;
    if (f->halted_out)
        return -EPIPE;
    f->out += len;
    return f->inner->model->out(f->inner->state, packet, len);
}

static void clear_halt(void *state, uint8_t endpoint)
{
    struct faults *f = state;
    if (endpoint == DEVICE_EP_IN)
        f->halted_in = false;
    else
        f->halted_out = false;
    usb_device_clear_halt(f->inner, endpoint);
}

/* Plugged in again it is sound: what was told is over. */
static void reset(void *state)
{
    struct faults *f = state;
    if (f->gone)
        faults_tell(f, "");
    f->gone = f->halted_in = f->halted_out = f->again_due = false;
    usb_device_reset(f->inner);
}

static void advance(void *state, int64_t real_us)
{
    struct faults *f = state;
    pull(f); /* with nobody reading, too */
    usb_device_advance(f->inner, real_us);
}

static bool gone(const void *state)
{
    const struct faults *f = state;
    return f->gone;
}

static const struct usb_model MODEL = {.control = control,
                                       .in = in,
                                       .out = out,
                                       .clear_halt = clear_halt,
                                       .reset = reset,
                                       .advance = advance,
                                       .gone = gone};

struct faults *faults_new(struct usb_device *inner)
{
    struct faults *f = calloc(1, sizeof *f);
    if (f == NULL)
        abort();
    f->inner = inner;
    f->device = (struct usb_device){
        .model = &MODEL, .state = f, .packet = inner->packet, .serial = inner->serial};
    return f;
}

struct usb_device *faults_device(struct faults *f)
{
    return &f->device;
}

void faults_free(struct faults *f)
{
    free(f);
}
