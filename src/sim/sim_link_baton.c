/* The machine's program is one thread of control that waits by letting the world go on; so is
 * the host. They take turns with a baton: while one has it the other stands still, so nothing
 * is ever shared at the same time and every run is the same. */
#include "sim/sim_link_private.h"

static void *program(void *arg)
{
    struct sim_link *s = arg;
    struct baton *b = &s->baton;
    pthread_mutex_lock(&b->lock);
    while (!b->running)
        pthread_cond_wait(&b->turned, &b->lock);
    pthread_mutex_unlock(&b->lock);
    if (!b->quit)
        sim_machine_session(&s->world->machine, &s->result);
    pthread_mutex_lock(&b->lock);
    b->over = true;
    b->running = false;
    pthread_cond_broadcast(&b->turned);
    pthread_mutex_unlock(&b->lock);
    return NULL;
}

enum err sim_link_baton_start(struct sim_link *s, struct err_msg *e)
{
    struct baton *b = &s->baton;
    *b = (struct baton){0};
    if (pthread_mutex_init(&b->lock, NULL) != 0)
        return err_set(e, ERR_MEMORY, "out of memory");
    if (pthread_cond_init(&b->turned, NULL) != 0) {
        pthread_mutex_destroy(&b->lock);
        return err_set(e, ERR_MEMORY, "out of memory");
    }
    b->made = pthread_create(&b->thread, NULL, program, s) == 0;
    if (b->made)
        return ERR_OK;
    pthread_cond_destroy(&b->turned);
    pthread_mutex_destroy(&b->lock);
    return err_set(e, ERR_MEMORY, "no thread for the simulated machine");
}

void sim_link_baton_run(struct sim_link *s)
{
    struct baton *b = &s->baton;
    pthread_mutex_lock(&b->lock);
    if (!b->over) {
        b->running = true;
        pthread_cond_broadcast(&b->turned);
        while (b->running)
            pthread_cond_wait(&b->turned, &b->lock);
    }
    pthread_mutex_unlock(&b->lock);
}

/* Called in the program's thread, from the world. */
void sim_link_baton_hold(void *state)
{
    struct sim_link *s = state;
    struct baton *b = &s->baton;
    pthread_mutex_lock(&b->lock);
    if (!b->quit) {
        b->running = false;
        pthread_cond_broadcast(&b->turned);
        while (!b->running)
            pthread_cond_wait(&b->turned, &b->lock);
    }
    if (b->quit)
        s->world->hold_at = NEVER;
    pthread_mutex_unlock(&b->lock);
}

void sim_link_baton_stop(struct sim_link *s)
{
    struct baton *b = &s->baton;
    if (!b->made)
        return;
    b->quit = true; /* it stands still: nobody else looks */
    s->world->end = s->world->now;
    s->world->hold_at = NEVER;
    sim_link_baton_run(s);
    pthread_join(b->thread, NULL);
    pthread_cond_destroy(&b->turned);
    pthread_mutex_destroy(&b->lock);
    b->made = false;
}
