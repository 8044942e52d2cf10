/* The scene tracer of vision/scenes, ray by ray, for making training views in bulk.
 *
 * Same physics, same shading, same splitting of rays as the array version (a test
 * compares the two); only the order of work differs: each ray is followed to its
 * end with a small stack instead of travelling in batches.  Lengths in mm.
 */
#include <math.h>
#include <string.h>

#define FAR 1e9f
#define MAXL 12
#define MAXP 40
typedef float f;

typedef struct {
    f dir[3], power[3], az, el, hw, hh, soft, radiance[3], pane, shadow_soft;
    int bars, casts;
} Lamp;
typedef struct { f low[3], high[3], rgb[3]; } Box;
typedef struct { f a[3], axis[3], length, radius, rgb[3], gloss; } Rod;
typedef struct { f radius, low, high, rgb[3]; } Round;
typedef struct { f left, right, low, high, rgb[3]; } Sticker;
typedef struct { f z0, r0, z1, k; } Piece;
typedef struct { int kind; f rgb[3], size, x; } Pattern;

typedef struct {
    /* tube */
    f outer, low, high, index, fluid_index, footprint;
    f lid_rgb[3], collar_rgb[3], tip_rgb[3], inside_light[3], front_light[3];
    f tip_mm, tip_radius;
    /* bore */
    int n_pieces, straight;
    Piece piece[MAXP];
    f level, tilt_x, tilt_y, m_step, band_low, band_high;
    int m_last;
    const f *rise, *slope;
    /* fluid */
    f absorb[3], scatter, scatter_rgb[3], sediment_mm, sediment_factor;
    /* drops */
    int bump_columns, bump_rows;
    f bump_step;
    const f *bump_across, *bump_upward;
    /* ink */
    int n_marks, spine_on, n_text, text_columns;
    const f *between, *mark_z, *mark_left, *mark_right, *mark_half;
    const f *text_z, *text_start, *text_between, *field;
    const int *codes;
    f ink_low, ink_high, spine, stroke, reach, opacity, ink_rgb[3];
    f numeral_h, advance, gap, hand_stroke;
    int glyph_rows, glyph_cols;
    int n_stickers;
    Sticker sticker[4];
    /* room */
    f to_room[9], middle, gain, ambient[3], floor_ambient, horizon, shadow;
    f wall_y, wall_rgb[3];
    Pattern wall_pattern;
    int has_panel;
    f panel_left, panel_right, panel_low, panel_high, panel_y, panel_c, panel_s, panel_rgb[3];
    Pattern panel_pattern;
    int n_lamps, n_boxes, n_rods, n_rounds;
    Lamp lamp[MAXL];
    Box box[MAXL];
    Rod rod[MAXL];
    Round round_[4];
    f lid_height, half_tube;
    f least_weight;
    int max_depth;
} Scene;

int scene_size(void) { return (int)sizeof(Scene); }

static inline f clip(f x, f a, f b) { return x < a ? a : (x > b ? b : x); }
static inline f maxf(f a, f b) { return a > b ? a : b; }
static inline f minf(f a, f b) { return a < b ? a : b; }
static inline f dot(const f *a, const f *b) { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2]; }

static void turned(const Scene *s, const f *v, f *out) {
    for (int i = 0; i < 3; i++) out[i] = dot(s->to_room + 3 * i, v);
}

static void surroundings(const Scene *s, const f *d, f *out) {
    f up = clip(0.5f + d[2] * s->horizon, 0, 1);
    up = s->floor_ambient + (1 - s->floor_ambient) * up;
    for (int k = 0; k < 3; k++) out[k] = up * s->ambient[k];
    if (s->n_lamps) {
        f az = atan2f(d[0], -d[1]), el = asinf(clip(d[2], -1, 1));
        for (int i = 0; i < s->n_lamps; i++) {
            const Lamp *l = &s->lamp[i];
            f gap = fabsf(az - l->az);
            gap = minf(gap, 6.2831853f - gap);
            f h = l->hh - fabsf(el - l->el), w = l->hw - gap;
            f in = clip(0.5f + l->soft * h, 0, 1) * clip(0.5f + l->soft * w, 0, 1);
            if (l->bars > 1 && in > 0) {
                f at = (w + 10 * l->pane) / l->pane;
                f bar = fabsf(at - floorf(at + 0.5f)) * l->pane;
                in *= clip(0.5f + l->soft * (bar - 0.06f * l->pane), 0, 1);
            }
            for (int k = 0; k < 3; k++) out[k] += in * l->radiance[k];
        }
    }
    for (int k = 0; k < 3; k++) out[k] = maxf(out[k], 0) * s->gain;
}

static void lit(const Scene *s, const f *n, const f *shade, f *out) {
    f up = s->floor_ambient + (1 - s->floor_ambient) * (0.5f + 0.5f * n[2]);
    for (int k = 0; k < 3; k++) out[k] = up * s->ambient[k];
    for (int i = 0; i < s->n_lamps; i++) {
        f facing = maxf(dot(s->lamp[i].dir, n), 0);
        if (shade) facing *= shade[i];
        for (int k = 0; k < 3; k++) out[k] += facing * s->lamp[i].power[k];
    }
    for (int k = 0; k < 3; k++) out[k] *= s->gain;
}

static f pattern(const Pattern *p, f u, f v) {
    f size = p->size;
    switch (p->kind) {
    case 1: {
        f beside = fabsf(u - p->x), step = v / size, r = floorf(step + 0.5f);
        f rule = fabsf(step - r) * size;
        f m = fmodf(r, 5.0f);
        int tall = m == 0.0f;
        return (rule < 0.45f && beside < (tall ? 8.0f : 5.0f) && fabsf(v) < 95) ? 0.9f : 0;
    }
    case 2: { f q = floorf(v / size); return (q - 2 * floorf(q / 2) == 0) ? 0.5f : 0; }
    case 3: {
        f a = fabsf(u / size - floorf(u / size + 0.5f)), b = fabsf(v / size - floorf(v / size + 0.5f));
        return clip(1.5f - minf(a, b) * size / 0.8f, 0, 1) * 0.8f;
    }
    case 4: {
        f c = sinf(floorf(u / size) * 12.9898f + floorf(v / (0.6f * size)) * 78.233f) * 43758.547f;
        return (c - floorf(c) > 0.7f) ? 0.6f : 0;
    }
    case 5: {
        f w = sinf(u / size * 7.1f + 2 * sinf(v / size * 5.3f));
        return (0.5f + 0.5f * w * sinf(v / size * 6.3f + 2 * sinf(u / size * 4.1f))) * 0.35f;
    }
    }
    return 0;
}

static void flat(const Scene *s, const f *p, const f *rgb, const Pattern *pat, f *out) {
    f shade[MAXL];
    for (int i = 0; i < s->n_lamps; i++) {
        const Lamp *l = &s->lamp[i];
        shade[i] = 1;
        if (!l->casts) continue;
        f across = l->dir[0]*l->dir[0] + l->dir[1]*l->dir[1];
        f t = -(p[0]*l->dir[0] + p[1]*l->dir[1]) / across;
        f gap = fabsf(p[0]*l->dir[1] - p[1]*l->dir[0]) / sqrtf(across);
        f z = p[2] + t * l->dir[2];
        f soft = 1 + 0.5f * maxf(t, 0) * l->shadow_soft;
        f body = clip(0.5f + (s->outer + 1.5f - gap) / (2 * soft), 0, 1)
               * clip(0.5f + (s->half_tube + s->lid_height - fabsf(z)) / (2 * soft), 0, 1);
        f rim = clip(0.5f + (fabsf(z) - s->half_tube) / (2 * soft), 0, 1);
        f q = gap / (0.25f * s->outer + soft);
        f focus = expf(-q * q);
        f dark = s->shadow * body * (0.45f + 0.55f * rim - 0.35f * focus * (1 - rim));
        if (t > 0) shade[i] = 1 - dark;
    }
    f n[3] = {0, -1, 0}, light[3];
    lit(s, n, shade, light);
    f share = pat->kind ? pattern(pat, p[0], p[2]) : 0;
    for (int k = 0; k < 3; k++) out[k] = (rgb[k] + share * (pat->rgb[k] - rgb[k])) * light[k];
}

static void paint(const Scene *s, const f *n, const f *rgb, f gloss, const f *d, f *out) {
    f light[3], shine[3], m[3];
    lit(s, n, 0, light);
    f along = dot(d, n);
    for (int k = 0; k < 3; k++) m[k] = d[k] - 2 * along * n[k];
    surroundings(s, m, shine);
    f g = 1 - minf(fabsf(along), 1);
    f share = gloss + (1 - gloss) * 0.5f * g * g * g * g * g;
    for (int k = 0; k < 3; k++) out[k] = (1 - share) * rgb[k] * light[k] + share * shine[k];
}

/* Colour of a ray outside the tube (chamber frame). Returns distance. */
static f shade_room(const Scene *s, const f *oc, const f *dc, f *colour) {
    f o[3], d[3], rel[3] = {oc[0], oc[1], oc[2] - s->middle};
    turned(s, rel, o);
    turned(s, dc, d);
    f far = FAR, t, fade = 0;
    f p[3];
    if (d[1] > 1e-4f) {
        t = (s->wall_y - o[1]) / d[1];
        p[0] = o[0] + t*d[0]; p[1] = o[1] + t*d[1]; p[2] = o[2] + t*d[2];
        fade = clip(2 - (fabsf(p[0]) + fabsf(p[2])) / 1500.0f, 0, 1);
        if (fade > 0) far = t;
    }
    /* nearest solid first: the wall is shaded only when it is what is seen */
    int what = fade > 0 ? 1 : 0, which = 0;
    f normal[3] = {0, 0, 0}, pu[3] = {0, 0, 0};
    if (s->has_panel && d[1] > 1e-4f) {
        t = (s->panel_y - o[1]) / d[1];
        f x = o[0] + t*d[0], z = o[2] + t*d[2];
        f u = s->panel_c * x + s->panel_s * z, v = s->panel_c * z - s->panel_s * x;
        if (t > 0 && t < far && u > s->panel_left && u < s->panel_right && v > s->panel_low
            && v < s->panel_high) {
            far = t; what = 2; pu[0] = u; pu[1] = o[1] + t*d[1]; pu[2] = v;
        }
    }
    for (int i = 0; i < s->n_boxes; i++) {
        const Box *b = &s->box[i];
        f enter = -FAR, leave = FAR;
        int axis = 0;
        for (int k = 0; k < 3; k++) {
            f safe = fabsf(d[k]) < 1e-6f ? 1e-6f : d[k];
            f a = (b->low[k] - o[k]) / safe, c = (b->high[k] - o[k]) / safe;
            f near = minf(a, c), out = maxf(a, c);
            if (near > enter) { enter = near; axis = k; }
            leave = minf(leave, out);
        }
        if (enter > 1e-3f && enter < leave && enter < far) {
            far = enter; what = 3; which = i;
            normal[0] = normal[1] = normal[2] = 0;
            normal[axis] = d[axis] > 0 ? -1 : 1;
        }
    }
    for (int i = 0; i < s->n_rods; i++) {
        const Rod *r = &s->rod[i];
        f q[3] = {o[0]-r->a[0], o[1]-r->a[1], o[2]-r->a[2]};
        f ld = dot(d, r->axis), lo = dot(q, r->axis), pd[3], po[3], r2 = r->radius * r->radius;
        for (int k = 0; k < 3; k++) { pd[k] = d[k]-ld*r->axis[k]; po[k] = q[k]-lo*r->axis[k]; }
        f qa = dot(pd, pd) + 1e-12f, qb = dot(pd, po), qc = dot(po, po) - r2, disc = qb*qb-qa*qc;
        if (disc <= 0) continue;
        t = (-qb - sqrtf(disc)) / qa;
        f along = lo + t * ld;
        if (along < 0 || along > r->length) {
            f end = along < 0 ? 0 : r->length, e[3];
            for (int k = 0; k < 3; k++) e[k] = q[k] - end * r->axis[k];
            f eb = dot(d, e), ec = dot(e, e) - r2, ed = eb*eb - ec;
            if (ed <= 0) continue;
            t = -eb - sqrtf(ed);
        }
        if (t > 1e-3f && t < far) {
            far = t; what = 4; which = i;
            f h[3];
            for (int k = 0; k < 3; k++) h[k] = q[k] + t * d[k];
            f a = clip(dot(h, r->axis), 0, r->length);
            for (int k = 0; k < 3; k++) normal[k] = (h[k] - a * r->axis[k]) / r->radius;
        }
    }
    for (int i = 0; i < s->n_rounds; i++) {
        const Round *r = &s->round_[i];
        f qa = dc[0]*dc[0] + dc[1]*dc[1] + 1e-12f, qb = oc[0]*dc[0] + oc[1]*dc[1];
        f qc = oc[0]*oc[0] + oc[1]*oc[1] - r->radius*r->radius, disc = qb*qb - qa*qc;
        f best = FAR, face = 0;
        if (disc > 0) {
            t = (-qb - sqrtf(disc)) / qa;
            f z = oc[2] + t * dc[2];
            if (z >= r->low && z <= r->high && t > 1e-3f) best = t;
        }
        f safe = fabsf(dc[2]) < 1e-7f ? 1e-7f : dc[2];
        for (int side = 0; side < 2; side++) {
            f height = side ? r->low : r->high, fc = side ? -1.0f : 1.0f;
            f td = (height - oc[2]) / safe;
            f x = oc[0] + td*dc[0], y = oc[1] + td*dc[1];
            if (td > 1e-3f && td < best && x*x + y*y < r->radius*r->radius && dc[2]*fc < 0) {
                best = td; face = fc;
            }
        }
        if (best < far) {
            far = best; what = 5; which = i;
            f w = (1 - fabsf(face)) / r->radius;
            f n[3] = {(oc[0] + best*dc[0]) * w, (oc[1] + best*dc[1]) * w, face};
            turned(s, n, normal);
        }
    }
    switch (what) {
    case 0: surroundings(s, d, colour); break;
    case 1: {
        flat(s, p, s->wall_rgb, &s->wall_pattern, colour);
        if (fade < 1) {
            f sky[3];
            surroundings(s, d, sky);
            for (int k = 0; k < 3; k++) colour[k] = fade * colour[k] + (1 - fade) * sky[k];
        }
        break;
    }
    case 2: flat(s, pu, s->panel_rgb, &s->panel_pattern, colour); break;
    case 3: paint(s, normal, s->box[which].rgb, 0.03f, d, colour); break;
    case 4: paint(s, normal, s->rod[which].rgb, s->rod[which].gloss, d, colour); break;
    case 5: paint(s, normal, s->round_[which].rgb, 0.03f, d, colour); break;
    }
    return far;
}

/* --------------------------------------------------------------------- ink */
static int first_not_below(const f *a, int n, f x) {
    int lo = 0, hi = n;
    while (lo < hi) { int m = (lo + hi) / 2; if (a[m] < x) lo = m + 1; else hi = m; }
    return lo;
}

static f coverage(const Scene *s, f arc, f z) {
    f q = 1.0f / maxf(s->footprint, 1e-3f);
    int i = first_not_below(s->between, s->n_marks - 1, z);
    f across = s->mark_half[i] - fabsf(z - s->mark_z[i]);
    f along = minf(arc - s->mark_left[i], s->mark_right[i] - arc);
    f cover = clip(0.5f + q * across, 0, 1) * clip(0.5f + q * along, 0, 1);
    if (s->spine_on) {
        f side = s->stroke / 2 - fabsf(arc - s->spine);
        f ends = minf(z - s->ink_low, s->ink_high - z) + s->stroke / 2;
        cover = maxf(cover, clip(0.5f + q * side, 0, 1) * clip(0.5f + q * ends, 0, 1));
    }
    if (s->n_text) {
        f h = s->numeral_h;
        i = first_not_below(s->text_between, s->n_text - 1, z);
        f y = (z - s->text_z[i]) / h + 0.5f, x = (arc - s->text_start[i]) / h + s->gap / 2;
        int col = (int)floorf(x / s->advance);
        if (col >= 0 && col < s->text_columns && y > -0.19f && y < 1.19f) {
            int sign = s->codes[i * s->text_columns + col];
            if (sign >= 0) {
                f gx = clip((x / s->advance - col) * s->glyph_cols - 0.5f, 0, s->glyph_cols - 1.001f);
                f gy = clip((y + 0.2f) / 1.4f * s->glyph_rows - 0.5f, 0, s->glyph_rows - 1.001f);
                int ix = (int)gx, iy = (int)gy;
                f fx = gx - ix, fy = gy - iy;
                const f *d = s->field + (sign * s->glyph_rows + iy) * s->glyph_cols + ix;
                f near = d[0]*(1-fx) + d[1]*fx;
                f next = d[s->glyph_cols]*(1-fx) + d[s->glyph_cols+1]*fx;
                f dist = near*(1-fy) + next*fy;
                cover = maxf(cover, clip(0.5f + q * h * (s->hand_stroke / 2 - dist), 0, 1));
            }
        }
    }
    return cover;
}

/* Share stopped by print at an outer wall point; *tint gets its colour. */
static f printed(const Scene *s, f x, f y, f z, const f **tint) {
    f arc = s->outer * atan2f(x, -y), stopped = 0;
    *tint = s->ink_rgb;
    if (fabsf(arc) < s->reach) stopped = coverage(s, arc, z) * s->opacity;
    for (int i = 0; i < s->n_stickers; i++) {
        const Sticker *k = &s->sticker[i];
        if (arc > k->left && arc < k->right && z > k->low && z < k->high) {
            stopped = 1; *tint = k->rgb;
        }
    }
    return stopped;
}

/* --------------------------------------------------------------- interfaces */
static f split(const f *d, const f *n, f eta, f *refr, f *refl) {
    f along = dot(d, n), side = along > 0 ? -1.0f : 1.0f, ci = minf(fabsf(along), 1);
    f s2 = eta * eta * (1 - ci * ci), co = sqrtf(maxf(1 - s2, 0));
    f a = (eta*ci - co) / (eta*ci + co + 1e-9f), b = (ci - eta*co) / (ci + eta*co + 1e-9f);
    f share = s2 >= 1 ? 1 : 0.5f * (a*a + b*b);
    f k = (eta*ci - co) * side;
    for (int i = 0; i < 3; i++) { refr[i] = eta*d[i] + k*n[i]; refl[i] = d[i] - 2*along*n[i]; }
    return share;
}

static void lookup(const Scene *s, f x, f y, f *rho, int *i, f *rise, f *steep) {
    *rho = sqrtf(x*x + y*y);
    f at = *rho / s->m_step;
    int k = (int)at;
    if (k > s->m_last) k = s->m_last;
    f piece = s->rise[k+1] - s->rise[k];
    *i = k; *rise = s->rise[k] + piece * (at - k); *steep = piece / s->m_step;
}

static f above(const Scene *s, f x, f y, f z) {
    f rho, rise, steep; int i;
    lookup(s, x, y, &rho, &i, &rise, &steep);
    return z - s->level - s->tilt_x*x - s->tilt_y*y - rise;
}

static void surface_normal(const Scene *s, f x, f y, f *n) {
    f rho, rise, steep; int i;
    lookup(s, x, y, &rho, &i, &rise, &steep);
    f part = clip(rho / s->m_step - i, 0, 1);
    f slope = s->slope[i] * (1 - part) + s->slope[i+1] * part, over = slope / maxf(rho, 1e-4f);
    n[0] = -(s->tilt_x + over*x); n[1] = -(s->tilt_y + over*y); n[2] = 1;
    f inv = 1 / sqrtf(n[0]*n[0] + n[1]*n[1] + 1);
    n[0] *= inv; n[1] *= inv; n[2] = inv;
}

static f meet(const Scene *s, const f *o, const f *d, f leave, int in_air) {
    f z1 = o[2] + leave * d[2], lo = minf(o[2], z1), hi = maxf(o[2], z1);
    if (!(lo < s->band_high && hi > s->band_low)) return FAR;
    if (in_air && above(s, o[0]+leave*d[0], o[1]+leave*d[1], z1) >= 0) return FAR;
    f t = in_air ? leave : 0, gap = 0, rate = 0;
    int live = 1;
    for (int it = 0; it < 7; it++) {
        f x = o[0]+t*d[0], y = o[1]+t*d[1], z = o[2]+t*d[2], rho, rise, steep; int i;
        lookup(s, x, y, &rho, &i, &rise, &steep);
        gap = z - s->level - s->tilt_x*x - s->tilt_y*y - rise;
        rate = d[2] - s->tilt_x*d[0] - s->tilt_y*d[1] - steep*(x*d[0]+y*d[1])/maxf(rho, 1e-5f);
        int good = in_air ? rate < -1e-6f : rate > 1e-6f;
        live = live && (good || fabsf(gap) < 1e-4f);
        if (good) t = clip(t - gap / rate, -1, leave + 1);
    }
    int fits = live && t > (in_air ? 1e-3f : -1e-3f) && t < leave && fabsf(gap) < 0.05f;
    if (!in_air) { t = maxf(t, 0); fits = fits && rate > 0; }
    return fits ? t : FAR;
}

static f bore_wall(const Scene *s, const f *o, const f *d, int inside) {
    f best = FAR;
    for (int n = 0; n < s->n_pieces; n++) {
        const Piece *p = &s->piece[n];
        f k = p->k, w = p->r0 + k * (o[2] - p->z0), q = k * d[2];
        f qa = d[0]*d[0] + d[1]*d[1] - q*q, qb = o[0]*d[0] + o[1]*d[1] - w*q;
        f qc = o[0]*o[0] + o[1]*o[1] - w*w, disc = qb*qb - qa*qc, root = sqrtf(maxf(disc, 0));
        if (fabsf(qa) < 1e-9f) qa = 1e-9f;
        if (s->straight && inside) return disc > 0 ? (-qb + root) / qa : FAR;
        f a = (-qb - root) / qa, b = (-qb + root) / qa;
        f cand[2] = {minf(a, b), maxf(a, b)};
        if (disc <= 0) continue;
        for (int c = 0; c < 2; c++) {
            f t = cand[c], z = o[2] + t * d[2];
            if (!(t > 2e-3f && z > p->z0 - 1e-3f && z < p->z1 + 1e-3f)) continue;
            if (!s->straight) {
                f x = o[0]+t*d[0], y = o[1]+t*d[1];
                f outward = x*d[0] + y*d[1] - k * (w + k*t*d[2]) * d[2];
                if (inside ? outward <= 0 : outward >= 0) continue;
            }
            if (t < best) best = t;
        }
    }
    return best;
}

static void bore_normal(const Scene *s, const f *p, int wet, f *n) {
    f inv = 1 / maxf(sqrtf(p[0]*p[0] + p[1]*p[1]), 1e-6f), k = 0;
    if (!s->straight)
        for (int i = 0; i < s->n_pieces; i++)
            if (p[2] >= s->piece[i].z0 && p[2] < s->piece[i].z1) k = s->piece[i].k;
    f size = 1 / sqrtf(1 + k*k);
    n[0] = p[0]*inv*size; n[1] = p[1]*inv*size; n[2] = -k*size;
    if (s->bump_columns && !wet) {
        f angle = atan2f(p[0], -p[1]) * (s->bump_columns / 6.2831853f) + s->bump_columns / 2.0f;
        int i = (int)clip(angle, 0, s->bump_columns - 1);
        int j = (int)clip((p[2] - s->low) / s->bump_step, 0, s->bump_rows - 1);
        f a = s->bump_across[j * s->bump_columns + i], u = s->bump_upward[j * s->bump_columns + i];
        f tx = -n[1], ty = n[0];
        n[0] += a*tx; n[1] += a*ty; n[2] += u;
        f v = 1 / sqrtf(dot(n, n));
        for (int q = 0; q < 3; q++) n[q] *= v;
    }
}

/* ----------------------------------------------------------------- tracing */
enum { WALL, AIR, LIQUID, OUT };
typedef struct { f o[3], d[3], w[3]; int medium, depth; } Ray;
#define STACK 64
typedef struct { Ray r[STACK]; int n; } Stack;

static void send(const Scene *s, Stack *st, int medium, const f *o, const f *d, const f *w, f share,
                 int depth) {
    f a[3] = {w[0]*share, w[1]*share, w[2]*share};
    if (maxf(maxf(a[0], a[1]), a[2]) <= s->least_weight || st->n >= STACK) return;
    Ray *r = &st->r[st->n++];
    memcpy(r->o, o, sizeof r->o); memcpy(r->d, d, sizeof r->d); memcpy(r->w, a, sizeof a);
    r->medium = medium; r->depth = depth;
}

static f ends(const Scene *s, const f *o, const f *d) {
    f safe = fabsf(d[2]) < 1e-7f ? 1e-7f : d[2];
    return maxf((d[2] > 0 ? s->high - o[2] : s->low - o[2]) / safe, 0);
}

static void show_end(const Scene *s, const f *w, const f *p, f *sum) {
    int top = p[2] > (s->low + s->high) / 2;
    f rho = sqrtf(p[0]*p[0] + p[1]*p[1]) / s->outer;
    f relief = 0.8f + 0.2f * clip((1 - rho) * 6, 0, 1);
    for (int k = 0; k < 3; k++)
        sum[k] += w[k] * relief * s->inside_light[k] * (top ? 0.8f*s->lid_rgb[k] : s->collar_rgb[k]);
}

static void show_print(const Scene *s, const f *w, f stopped, const f *tint, const f *n, int behind,
                       f *sum) {
    if (stopped <= 1e-3f) return;
    f r[3], light[3], dim = behind ? 0.25f : 1;
    turned(s, n, r);
    lit(s, r, 0, light);
    for (int k = 0; k < 3; k++) sum[k] += w[k] * stopped * tint[k] * light[k] * dim;
}

static void enter(const Scene *s, Stack *st, const Ray *r, f *sum) {
    f n[3] = {r->o[0]/s->outer, r->o[1]/s->outer, 0}, in[3], back[3];
    const f *tint;
    f share = split(r->d, n, 1.0f / s->index, in, back);
    f stopped = printed(s, r->o[0], r->o[1], r->o[2], &tint);
    show_print(s, r->w, stopped * (1 - share), tint, n, 0, sum);
    send(s, st, OUT, r->o, back, r->w, share * (1 - 0.5f * stopped), r->depth + 1);
    send(s, st, WALL, r->o, in, r->w, (1 - share) * (1 - stopped), r->depth + 1);
}

static void in_wall(const Scene *s, Stack *st, const Ray *r, f *sum) {
    const f *o = r->o, *d = r->d;
    f qa = d[0]*d[0] + d[1]*d[1] + 1e-9f, qb = o[0]*d[0] + o[1]*d[1];
    f qc = o[0]*o[0] + o[1]*o[1] - s->outer*s->outer;
    f t_out = (-qb + sqrtf(maxf(qb*qb - qa*qc, 0))) / qa;
    f t_in = bore_wall(s, o, d, 0), t_end = ends(s, o, d), t = minf(minf(t_out, t_in), t_end);
    f p[3] = {o[0]+t*d[0], o[1]+t*d[1], o[2]+t*d[2]}, a[3], b[3], n[3];
    if (t_end <= t) { show_end(s, r->w, p, sum); return; }
    if (t_out <= t) {
        n[0] = p[0]/s->outer; n[1] = p[1]/s->outer; n[2] = 0;
        const f *tint;
        f share = split(d, n, s->index, a, b), stopped = printed(s, p[0], p[1], p[2], &tint);
        send(s, st, WALL, p, b, r->w, share, r->depth + 1);
        show_print(s, r->w, stopped * (1 - share), tint, n, 1, sum);
        send(s, st, OUT, p, a, r->w, (1 - share) * (1 - stopped), r->depth + 1);
        return;
    }
    int wet = above(s, p[0], p[1], p[2]) < 0;
    bore_normal(s, p, wet, n);
    f share = split(d, n, wet ? s->index / s->fluid_index : s->index, a, b);
    send(s, st, WALL, p, b, r->w, share, r->depth + 1);
    send(s, st, wet ? LIQUID : AIR, p, a, r->w, 1 - share, r->depth + 1);
}

static int tip(const Scene *s, const f *o, const f *d, f *t, int *face) {
    if (s->tip_mm <= 0) return 0;
    f r = s->tip_radius, end = s->high - s->tip_mm;
    f qa = d[0]*d[0] + d[1]*d[1] + 1e-9f, qb = o[0]*d[0] + o[1]*d[1];
    f disc = qb*qb - qa*(o[0]*o[0] + o[1]*o[1] - r*r), best = FAR;
    if (disc > 0) {
        f q = (-qb - sqrtf(disc)) / qa;
        if (q > 1e-3f && o[2] + q*d[2] > end) best = q;
    }
    f td = (end - o[2]) / (d[2] < 1e-6f ? 1e-6f : d[2]);
    f x = o[0]+td*d[0], y = o[1]+td*d[1];
    *face = d[2] > 1e-6f && td > 1e-3f && td < best && x*x + y*y < r*r;
    *t = *face ? td : best;
    return 1;
}

static void in_bore(const Scene *s, Stack *st, Ray *r, f *sum) {
    const f *o = r->o, *d = r->d;
    int air = r->medium == AIR, face = 0;
    f t_wall = bore_wall(s, o, d, 1), t_end = ends(s, o, d), t = minf(t_wall, t_end), t_tip = FAR;
    if (air && tip(s, o, d, &t_tip, &face)) t = minf(t, t_tip);
    f t_top = meet(s, o, d, minf(t, 1e3f), air);
    t = minf(t, t_top);
    int lost = t > 1e6f;
    if (lost) t = 0;
    if (!air && (s->absorb[0] || s->absorb[1] || s->absorb[2] || s->scatter)) {
        f length = t;
        if (s->sediment_factor != 1) {
            f z0 = o[2], z1 = o[2] + t*d[2], lo = minf(z0, z1), hi = maxf(z0, z1);
            f under = clip((s->sediment_mm - lo + 0.15f) / (hi - lo + 0.3f), 0, 1);
            length = t * (1 + under * (s->sediment_factor - 1));
        }
        for (int k = 0; k < 3; k++) {
            f a = s->absorb[k], c = s->scatter, through = expf(-(a + c) * length);
            if (c) sum[k] += r->w[k] * (1 - through) * (c / (a + c))
                           * 0.8f * s->scatter_rgb[k] * s->front_light[k];
            r->w[k] *= through;
        }
    }
    f p[3] = {o[0]+t*d[0], o[1]+t*d[1], o[2]+t*d[2]}, a[3], b[3], n[3];
    if (t_end <= t || lost) { show_end(s, r->w, p, sum); return; }
    if (t_tip <= t) {
        f inv = 1 / s->tip_radius, fl = face ? -1.0f : 0, side = 1 + fl;
        f q[3] = {p[0]*inv*side, p[1]*inv*side, fl}, m[3], light[3];
        turned(s, q, m);
        lit(s, m, 0, light);
        for (int k = 0; k < 3; k++) sum[k] += r->w[k] * light[k] * 0.8f * s->tip_rgb[k];
        return;
    }
    f index = air ? 1.0f : s->fluid_index;
    if (t_top <= t) {
        surface_normal(s, p[0], p[1], n);
        f share = split(d, n, index / (air ? s->fluid_index : 1.0f), a, b);
        send(s, st, r->medium, p, b, r->w, share, r->depth + 1);
        send(s, st, air ? LIQUID : AIR, p, a, r->w, 1 - share, r->depth + 1);
        return;
    }
    bore_normal(s, p, !air, n);
    f share = split(d, n, index / s->index, a, b);
    send(s, st, r->medium, p, b, r->w, share, r->depth + 1);
    send(s, st, WALL, p, a, r->w, 1 - share, r->depth + 1);
}

static void trace(const Scene *s, const Ray *first, f *sum) {
    Stack st;
    st.n = 0;
    enter(s, &st, first, sum);
    while (st.n) {
        Ray r = st.r[--st.n];
        if (r.medium == OUT) {
            f c[3];
            shade_room(s, r.o, r.d, c);
            for (int k = 0; k < 3; k++) sum[k] += r.w[k] * c[k];
        } else if (r.depth > s->max_depth) {
            for (int k = 0; k < 3; k++) sum[k] += r.w[k] * 0.4f * s->front_light[k];
        } else if (r.medium == WALL) in_wall(s, &st, &r, sum);
        else in_bore(s, &st, &r, sum);
    }
}

/* Colours (n, 3) of rays from one centre along unit directions (n, 3). */
void look(const Scene *s, const f *centre, const f *dirs, int count, f *out) {
    for (int i = 0; i < count; i++) {
        const f *d = dirs + 3 * i;
        f *colour = out + 3 * i;
        f far = shade_room(s, centre, d, colour);
        f qa = d[0]*d[0] + d[1]*d[1] + 1e-12f, qb = centre[0]*d[0] + centre[1]*d[1];
        f miss = centre[0]*d[1] - centre[1]*d[0];
        f disc = qa * s->outer*s->outer - miss*miss;
        if (disc <= 0) continue;
        f t = (-qb - sqrtf(disc)) / qa, z = centre[2] + t*d[2];
        if (!(t > 1e-3f && t < far && z > s->low && z < s->high)) continue;
        Ray r;
        f px = centre[0]+t*d[0], py = centre[1]+t*d[1], grow = s->outer / sqrtf(px*px + py*py);
        r.o[0] = px*grow; r.o[1] = py*grow; r.o[2] = z;
        memcpy(r.d, d, sizeof r.d);
        r.w[0] = r.w[1] = r.w[2] = 1; r.medium = WALL; r.depth = 0;
        colour[0] = colour[1] = colour[2] = 0;
        trace(s, &r, colour);
    }
}
