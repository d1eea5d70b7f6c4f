#include "judge/engine.h"

#include <math.h>

/* Less than this adds nothing to a sum that is 1 and more. */
#define LOST_NAT (-45.0)

double ln_sum(const double *v, size_t n)
{
    double top = -INFINITY, sum = 0;

    for (size_t i = 0; i < n; i++)
        top = v[i] > top ? v[i] : top;
    if (isinf(top))
        return top;
    for (size_t i = 0; i < n; i++)
        if (v[i] - top > LOST_NAT)
            sum += exp(v[i] - top);
    return top + log(sum);
}

double engine_posterior(const double *ln_joint, size_t n, double *posterior)
{
    double z = ln_sum(ln_joint, n);

    for (size_t i = 0; i < n; i++)
        posterior[i] = exp(ln_joint[i] - z);
    return z;
}

double engine_odds_decibans(const double *ln_joint, const int *class_of, size_t n,
                            int class_wanted)
{
    double top = -INFINITY, in = 0, out = 0;

    for (size_t i = 0; i < n; i++)
        top = ln_joint[i] > top ? ln_joint[i] : top;
    for (size_t i = 0; i < n; i++)
        *(class_of[i] == class_wanted ? &in : &out) += exp(ln_joint[i] - top);
    /* two sums, never 1 - p; kept finite where a class is empty */
    return 10 * log10((in + 1e-300) / (out + 1e-300));
}

double engine_gain_bits(const double *posterior, const int *class_of, size_t n, int classes,
                        const double *answer, int answers)
{
    double bits = 0;

    for (int k = 0; k < answers; k++) {
        double po = 0;

        for (size_t i = 0; i < n; i++)
            po += posterior[i] * answer[i * (size_t)answers + (size_t)k];
        for (int c = 0; c < classes; c++) {
            double pe = 0, both = 0;

            for (size_t i = 0; i < n; i++) {
                if (class_of[i] != c)
                    continue;
                pe += posterior[i];
                both += posterior[i] * answer[i * (size_t)answers + (size_t)k];
            }
            if (both > 0)
                bits += both * log2(both / (pe * po));
        }
    }
    return bits > 0 ? bits : 0;
}

double engine_entropy_bits(const double *p, size_t n)
{
    double bits = 0;

    for (size_t i = 0; i < n; i++)
        if (p[i] > 0)
            bits -= p[i] * log2(p[i]);
    return bits;
}

void engine_cap(double *ln_group, size_t n, double cap_decibans)
{
    double top = -INFINITY;

    for (size_t i = 0; i < n; i++)
        top = ln_group[i] > top ? ln_group[i] : top;
    for (size_t i = 0; i < n; i++)
        if (ln_group[i] < top - cap_decibans * NAT_PER_DECIBAN)
            ln_group[i] = top - cap_decibans * NAT_PER_DECIBAN;
}

double engine_noisy_or_absent(double leak_absent, const double *inhibition, const int *present,
                              size_t n)
{
    double ln = log(leak_absent);

    for (size_t i = 0; i < n; i++)
        if (present[i])
            ln += log(inhibition[i]);
    return exp(ln);
}

int engine_sequential(double low_rate, double high_rate, double risk_high_missed,
                      double risk_low_blamed, int trials, int failures)
{
    double ln = failures * log(high_rate / low_rate) +
                (trials - failures) * (log1p(-high_rate) - log1p(-low_rate));

    if (ln >= log((1 - risk_high_missed) / risk_low_blamed))
        return 1;
    return ln <= log(risk_high_missed / (1 - risk_low_blamed)) ? -1 : 0;
}

static double ln_beta(double a, double b)
{
    return lgamma(a) + lgamma(b) - lgamma(a + b);
}

double engine_tries_ln(int bad, int tries, double failing, double working)
{
    return ln_beta(failing + bad, working + tries - bad) - ln_beta(failing, working);
}

double engine_tries_at_rate_ln(int bad, int tries, double rate)
{
    return bad * log(rate) + (tries - bad) * log1p(-rate);
}

/* Chance that a work cures, of what is left. */
static double cures(const double *left, size_t causes, const double *cure)
{
    double sum = 0;

    for (size_t i = 0; i < causes; i++)
        sum += left[i] * cure[i];
    return sum;
}

double engine_work_cost(const double *cause, size_t causes, const double *cure,
                        const double *cost, const size_t *order, size_t works)
{
    double sum = 0;

    for (size_t i = 0; i < causes; i++) {
        double left = cause[i];

        for (size_t w = 0; w < works; w++) {
            sum += left * cost[order[w]];
            left *= 1 - cure[order[w] * causes + i];
        }
    }
    return sum;
}

void engine_work_order(const double *cause, size_t causes, const double *cure,
                       const double *cost, size_t works, double *left, size_t *order)
{
    for (size_t i = 0; i < causes; i++)
        left[i] = cause[i];
    for (size_t w = 0; w < works; w++)
        order[w] = w;
    for (size_t done = 0; done < works; done++) {
        size_t best = done, next;

        for (size_t w = done + 1; w < works; w++)
            if (cures(left, causes, cure + order[w] * causes) / cost[order[w]] >
                cures(left, causes, cure + order[best] * causes) / cost[order[best]])
                best = w;
        next = order[best];
        for (size_t w = best; w > done; w--) /* the rest keeps its order */
            order[w] = order[w - 1];
        order[done] = next;
        for (size_t i = 0; i < causes; i++)
            left[i] *= 1 - cure[next * causes + i];
    }
}
