/* Benches to draw from, and one session of one of them played. Of src/sim alone: the judge's
 * headers have names of their own for the same things. */
#ifndef TEST_BENCH_SCENE_H
#define TEST_BENCH_SCENE_H

#include "evidence/finding.h"
#include "sim/rng.h"
#include "sim/sim.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define FAULT_WORD_MAX 64

enum plug_end { AT_MACHINE, AT_DRIVE, PLUGS };

/* ---- what is there to draw from: faults_stock.c ---- */

#define SETS_MAX     12
#define SECTIONS_MAX 120
#define DRAWN_MAX    320

/* A machine, a drive and a cable that go together. */
struct set {
    struct profile *machine, *drive, *cable;
};

/* One section of the catalogue. */
struct listed {
    char name[FAULT_WORD_MAX];
    char effect[80];
    enum end end;
    double weight; /* share of its end's share of complaints */
};

/* A fault that one set can have, and how often by the catalogue. */
struct drawable {
    const char *fault;
    double weight;
};

struct stock {
    struct profile_path *path;
    struct set set[SETS_MAX];
    size_t sets;
    struct listed listed[SECTIONS_MAX];
    size_t sections;
    struct drawable of[SETS_MAX][DRAWN_MAX];
    size_t count[SETS_MAX];
};

enum err stock_open(struct stock *s, struct err_msg *e);
void stock_close(struct stock *s);
/* The section of the catalogue that a fault's name falls under, or NULL. */
const struct listed *stock_section(const struct stock *s, const char *fault);
/* Any fault of a set that `take` allows (NULL: all); weighted by the catalogue, or each as
 * likely. */
const char *stock_draw(const struct stock *s, size_t set, bool weighted,
                       bool (*take)(const char *fault), struct rng *r);

/* ---- one recorded session and what was true of it: faults_scene.c ---- */

struct facts {
    bool lit_ever, lit_always; /* the drive's select */
    bool turned, turned_before;
    bool moved;
    int bumps;                /* steps against the outer stop */
    bool lamp_off, motor_off; /* machine off: lamp lit, motor turning */
    bool powered, sags;
    int64_t index_pulses, read_pulses; /* at the drive's plug */
};

struct scene {
    /* asked for */
    uint64_t seed;
    const struct set *set;
    const char *fault[2]; /* NULL: none */
    unsigned asked;
    bool wec, one_clock, used[PLUGS];
    int pull_up_ohm;
    line_set left_out[PLUGS]; /* lines that no lead was put to */
    char prefix[16];          /* of its files */
    /* shown */
    const char *outcome; /* word of the contract */
    char error[64];
    bool pulled_up[PLUGS]; /* the tap's own pull-ups */
    uint64_t hash[PLUGS];  /* of all that a tap recorded */
    struct facts facts;
};

/* Plays it into files PREFIX-machine-end.wec and so on; folder NULL: into none. */
enum err scene_play(struct scene *s, const char *folder, struct err_msg *e);
const char *scene_file(const struct scene *s, int tap, char out[48]);

#endif
