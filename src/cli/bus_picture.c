/* SPDX-License-Identifier: Apache-2.0 */
/* What of a capture is worth drawing. All but the routine of polling is kept as it passes, in bounded memory; at the
 * end the power-ups, the sales and the findings say which stretches are drawn. */
#include "bus.h"
#include "fettle/paper.h"

enum {
	KEPT_MAX = 20000,   /* ours: exchanges kept of a capture, some 10 MB */
	MARKS_MAX = 4000,   /* ours: events that make up a stretch */
	STRETCHES_MAX = 40, /* ours: more is a wall, not a picture */
	WORDS_MAX = 300,    /* ours: bits are drawn for a window of so many bytes */
	PROBES_KEPT = 2,    /* of a device that never answers */
	RESTARTS_MOST = 3,  /* drawn with the power-up; further ones look alike */
	ODD_KEPT = 12,      /* polls of one device that went wrong: more of the same is no news */
};
#define MS        INT64_C(1000000)
#define APART_NS  (4000 * MS) /* ours: what lies closer together belongs to one sale or one power-up */
#define AROUND_NS (60 * MS)   /* ours: shown before and after a finding */
#define LIMIT_NS  (5 * MS)

enum mark_kind { MARK_SETUP, MARK_SALE };

/* Something worth a stretch, or that makes one go on (`weak`). */
struct mark {
	int64_t at_ns;
	enum mark_kind kind;
	bool weak;
	bool begins, ends; /* a customer comes; has got what he paid for */
};

struct bus_picture {
	struct cli *c;
	const struct ft_bus *bus;
	int64_t from_ns, to_ns;
	bool window;
	struct ft_bus_figure *figures;
	size_t count, room, left_out;
	bool idle_open; /* the last figure is a band that may go on */
	uint32_t idle_by_address[FT_BUS_ADDRESSES];
	uint8_t last_poll[FT_BUS_ADDRESSES]; /* the single byte of its last answer to a poll; 0: it said something else */
	uint32_t last_status[256][4];        /* hash of the last answer by command and its second byte's low bits */
	uint64_t answered[FT_BUS_ADDRESSES], probes[FT_BUS_ADDRESSES], odd[FT_BUS_ADDRESSES];
	struct mark *marks;
	size_t mark_count, mark_room;
	struct ft_bus_word *words;
	size_t word_count;
	bool words_full;
};

struct bus_picture *bus_picture_new(struct cli *c, int64_t from_ns, int64_t to_ns)
{
	struct bus_picture *p = FT_NEW(&c->arena, struct bus_picture);

	if (!p) {
		ft_fail_memory(&c->error, "the picture");
		return NULL;
	}
	p->c = c;
	p->window = from_ns >= 0;
	p->from_ns = from_ns;
	p->to_ns = to_ns;
	if (p->window)
		p->words = FT_NEW_ARRAY(&c->arena, WORDS_MAX, struct ft_bus_word);
	return p;
}

void bus_picture_bus(struct bus_picture *p, const struct ft_bus *b)
{
	p->bus = b;
}

void bus_picture_word(struct bus_picture *p, const struct ft_bus_word *w)
{
	if (!p->window || !p->words || w->end_ns < p->from_ns || w->start_ns > p->to_ns || w->kind == FT_BUS_BREAK)
		return;
	if (p->word_count == WORDS_MAX)
		p->words_full = true;
	else
		p->words[p->word_count++] = *w;
}

static struct ft_bus_figure *new_figure(struct bus_picture *p)
{
	size_t most = p->window ? FT_BUS_FIGURES_MAX : KEPT_MAX;
	struct ft_bus_figure *grown;

	p->idle_open = false;
	if (p->count >= most) {
		p->left_out++;
		return NULL;
	}
	grown = ft_arena_grow(&p->c->arena, p->figures, p->count, &p->room, sizeof *grown);
	if (!grown) {
		ft_fail_memory(&p->c->error, "the picture");
		return NULL;
	}
	p->figures = grown;
	p->figures[p->count] = (struct ft_bus_figure){ .kind = FT_BUS_FIGURE_EXCHANGE };
	return &p->figures[p->count++];
}

static bool is_poll(const struct ft_bus_exchange *x)
{
	return strcmp(ft_bus_command_word(x->command.bytes, x->command.count), "POLL") == 0;
}

static bool sound(const struct ft_bus_exchange *x)
{
	return x->command.checksum_ok && !x->command.flags && !x->command.framing_errors && !x->answer.flags &&
		!x->answer.framing_errors && !x->again && !x->cut_off && x->response_ns <= LIMIT_NS;
}

/* A question for a status that was answered as it was the last time. */
static bool same_status(struct bus_picture *p, const struct ft_bus_exchange *x)
{
	uint32_t h = 2166136261U, *last;

	if (x->kind != FT_BUS_DATA || is_poll(x) || x->command.count == 0)
		return false;
	for (int i = 0; i < x->command.count + x->answer.count; i++)
		h = (h ^ (i < x->command.count ? x->command.bytes[i] : x->answer.bytes[i - x->command.count])) * 16777619U;
	last = &p->last_status[x->command.bytes[0]][x->command.count > 2 ? x->command.bytes[1] & 3 : 0];
	if (*last == h)
		return true;
	*last = h;
	return false;
}

/* A device that tells again that it is busy. Other single bytes may be two events that look alike. */
static bool still_busy(struct bus_picture *p, const struct ft_bus_exchange *x, int a)
{
	bool one = is_poll(x) && x->kind == FT_BUS_DATA && x->answer.count == 2;
	bool same = one && p->last_poll[a] == x->answer.bytes[0];
	struct ft_buf t = { 0 };

	if (is_poll(x))
		p->last_poll[a] = one ? x->answer.bytes[0] : 0;
	if (!same)
		return false;
	ft_bus_tell(p->bus, x, &t);
	same = ft_slice_holds(ft_buf_text(&t), "busy");
	ft_buf_done(&t);
	return same;
}

/* Routine: a poll with nothing to report, a status as before, a probe for a device that is not there, or one more poll
 * that went wrong as many before. */
static bool is_idle(struct bus_picture *p, const struct ft_bus_exchange *x)
{
	int a = x->command.count ? x->command.bytes[0] >> 3 : 0;
	bool same = same_status(p, x), busy = still_busy(p, x, a);

	if (x->kind != FT_BUS_SILENCE)
		p->answered[a]++;
	if (x->kind == FT_BUS_SILENCE && !p->answered[a])
		return ++p->probes[a] > PROBES_KEPT;
	if (!sound(x) || x->kind == FT_BUS_SILENCE || x->kind == FT_BUS_GARBLED)
		return is_poll(x) && x->kind != FT_BUS_DATA && ++p->odd[a] > ODD_KEPT;
	return (x->kind == FT_BUS_ACK && is_poll(x)) || ((same || busy) && x->closing == FT_BUS_CLOSED_ACK);
}

static int64_t end_of(const struct ft_bus_exchange *x)
{
	int64_t end = x->answer.count ? x->answer.end_ns : x->command.end_ns;

	return x->closing_at_ns >= 0 ? x->closing_at_ns + 1146000 : end; /* eleven bits */
}

static void add_idle(struct bus_picture *p, const struct ft_bus_exchange *x)
{
	int a = x->command.bytes[0] >> 3;
	struct ft_bus_figure *f = p->idle_open ? &p->figures[p->count - 1] : NULL;

	if (!f) {
		if (!(f = new_figure(p)))
			return;
		f->kind = FT_BUS_FIGURE_IDLE;
		f->start_ns = x->command.start_ns;
		memset(p->idle_by_address, 0, sizeof p->idle_by_address);
		p->idle_open = true;
	}
	f->end_ns = end_of(x);
	f->exchanges++;
	f->odd += !sound(x) || x->kind == FT_BUS_GARBLED || (x->kind == FT_BUS_SILENCE && p->answered[a]);
	if (++p->idle_by_address[a] > f->rounds)
		f->rounds = p->idle_by_address[a];
}

/* What ft_bus_tell says after the device's and the command's own names, which stand over the block already. */
static const char *told_of(struct bus_picture *p, const struct ft_bus_exchange *x)
{
	const char *names[2] = { ft_bus_device_word(x->command.bytes[0]),
		                     ft_bus_command_word(x->command.bytes, x->command.count) };
	struct ft_buf t = { 0 };
	struct ft_slice s;
	char *told;

	ft_bus_tell(p->bus, x, &t);
	s = ft_buf_text(&t);
	for (int i = 0; i < 2; i++) {
		size_t n = strlen(names[i]);
		if (s.n >= n && memcmp(s.p, names[i], n) == 0)
			s = (struct ft_slice){ s.p + n, s.n - n };
		while (s.n && (*s.p == ' ' || *s.p == ':' || *s.p == '-'))
			s = (struct ft_slice){ s.p + 1, s.n - 1 };
	}
	told = ft_arena_printf(&p->c->arena, "%.*s%s%s", FT_P(s), s.n && x->closing >= FT_BUS_CLOSED_NAK ? "; " : "",
	                       x->closing == FT_BUS_CLOSED_NAK       ? "the controller refuses it (NAK)"
	                           : x->closing == FT_BUS_CLOSED_RET ? "the controller wants it again (RET)"
	                                                             : "");
	ft_buf_done(&t);
	for (char *dash = told ? strstr(told, " - ") : NULL; dash; dash = strstr(dash, " - ")) {
		*dash = ';'; /* a line may break behind it, not before it */
		memmove(dash + 1, dash + 2, strlen(dash + 2) + 1);
	}
	return told && *told ? told : NULL;
}

static void add_exchange(struct bus_picture *p, const struct ft_bus_exchange *x)
{
	bool idle = is_idle(p, x);
	struct ft_bus_figure *f;

	if (p->window && (end_of(x) < p->from_ns || x->command.start_ns > p->to_ns))
		return;
	if (idle && !p->window) {
		add_idle(p, x);
		return;
	}
	if (!(f = new_figure(p)))
		return;
	f->exchange = *x;
	f->start_ns = x->again && x->answer.count ? x->answer.start_ns : x->command.start_ns;
	f->end_ns = end_of(x);
	f->who = x->command.count ? ft_bus_device_word(x->command.bytes[0]) : NULL;
	f->asked = x->again ? "again, after RET" : ft_bus_command_word(x->command.bytes, x->command.count);
	f->told = told_of(p, x);
}

void bus_picture_item(struct bus_picture *p, const struct ft_bus_item *i)
{
	struct ft_bus_figure *f;

	if (i->kind == FT_BUS_EXCHANGE) {
		add_exchange(p, &i->exchange);
		return;
	}
	if (p->window && (i->block.end_ns < p->from_ns || i->block.start_ns > p->to_ns))
		return;
	if (!(f = new_figure(p)))
		return;
	f->kind = i->kind == FT_BUS_BUS_RESET ? FT_BUS_FIGURE_RESET : FT_BUS_FIGURE_STRAY;
	f->start_ns = i->block.start_ns;
	f->end_ns = i->block.end_ns;
	f->block = i->block;
	f->line = i->line;
	f->asked = i->kind == FT_BUS_BUS_RESET ? "bus reset" : NULL;
	f->told = i->kind == FT_BUS_BUS_RESET ? NULL : "belongs to nothing";
}

void bus_picture_event(struct bus_picture *p, const struct ft_bus_event *e)
{
	struct mark m = { .at_ns = e->at_ns, .kind = MARK_SALE }, *grown;

	switch (e->kind) {
	case FT_BUS_EV_BREAK:
	case FT_BUS_EV_WAS_RESET:
	case FT_BUS_EV_SETUP:
	case FT_BUS_EV_IDENTITY:
		m.kind = MARK_SETUP;
		break;
	case FT_BUS_EV_ENABLED:
	case FT_BUS_EV_DISABLED:
		m.weak = true;
		break;
	case FT_BUS_EV_COIN:
	case FT_BUS_EV_BILL:
	case FT_BUS_EV_SESSION:
		m.begins = true;
		break;
	case FT_BUS_EV_CASH_SALE:
	case FT_BUS_EV_SESSION_END:
		m.ends = true;
		break;
	case FT_BUS_EV_RESET_SENT:
	case FT_BUS_EV_TUBES:
	case FT_BUS_EV_STATUS:
	case FT_BUS_EV_UNKNOWN:
	case FT_BUS_EV_MALFUNCTION:
	case FT_BUS_EV_OUT_OF_SEQUENCE:
	case FT_BUS_EVENT_KINDS:
		return; /* findings speak of those that matter */
	default:
		break;
	}
	if (p->window || p->mark_count >= MARKS_MAX)
		return;
	grown = ft_arena_grow(&p->c->arena, p->marks, p->mark_count, &p->mark_room, sizeof *grown);
	if (!grown) {
		ft_fail_memory(&p->c->error, "the picture");
		return;
	}
	p->marks = grown;
	p->marks[p->mark_count++] = m;
}

/* ---- the stretches ---- */

struct stretches {
	struct ft_bus_stretch list[STRETCHES_MAX];
	size_t count, more;
};

/* Keeps them in order of time and apart; what overlaps an earlier one is joined to it. */
static void add_stretch(struct stretches *s, int64_t from, int64_t to, const char *title)
{
	size_t at = s->count;

	for (size_t i = 0; i < s->count; i++)
		if (from <= s->list[i].to_ns && to >= s->list[i].from_ns) {
			int64_t before = i ? s->list[i - 1].to_ns : -1,
					after = i + 1 < s->count ? s->list[i + 1].from_ns : INT64_MAX;
			from = from <= before ? before + 1 : from;
			to = to >= after ? after - 1 : to;
			s->list[i].from_ns = from < s->list[i].from_ns ? from : s->list[i].from_ns;
			s->list[i].to_ns = to > s->list[i].to_ns ? to : s->list[i].to_ns;
			return;
		}
	if (s->count == STRETCHES_MAX) {
		s->more++;
		return;
	}
	while (at && s->list[at - 1].from_ns > from) {
		s->list[at] = s->list[at - 1];
		at--;
	}
	s->list[at] = (struct ft_bus_stretch){ from, to, title };
	s->count++;
}

static const char *sale_title(struct bus_picture *p, const struct ft_bus_report *r, int64_t from, int64_t to)
{
	const struct ft_bus_sale *first = NULL;
	char money[FT_MONEY_TEXT] = "unknown price";
	const char *item;
	size_t n = 0;

	for (size_t i = 0; i < r->sale_count; i++)
		if (r->sales[i].at_ns >= from && r->sales[i].at_ns <= to) {
			first = first ? first : &r->sales[i];
			n++;
		}
	if (!first)
		return "Money, and no sale";
	if (first->price != FT_ABSENT && first->decimals >= 0)
		ft_money_text(first->price, first->decimals, money);
	item = first->item >= 0 ? ft_arena_printf(&p->c->arena, "item %d for ", first->item) : "";
	return ft_arena_printf(&p->c->arena, "Sale: %s%s by %s, %s%s", item ? item : "", money,
	                       first->card ? "card" : "cash", ft_bus_outcome_word(first->outcome),
	                       n > 1 ? ft_arena_printf(&p->c->arena, ", and %zu more", n - 1) : "");
}

/* Marks that lie close together are one stretch; it ends with the last exchange that is no routine. */
static void stretch_marks(struct bus_picture *p, const struct ft_bus_report *r, struct stretches *s)
{
	int setups = 0;

	for (size_t i = 0; i < p->mark_count;) {
		size_t k = i + 1;
		int64_t from = p->marks[i].at_ns, to = from;
		bool ended = p->marks[i].ends;
		if (p->marks[i].weak) {
			i++;
			continue;
		}
		for (; k < p->mark_count; k++) {
			const struct mark *m = &p->marks[k];
			if (m->begins && ended)
				break;
			ended |= m->ends;
			if (m->at_ns - to > (m->weak ? APART_NS / 4 : APART_NS) || (!m->weak && m->kind != p->marks[i].kind))
				break;
			to = m->at_ns;
		}
		to += AROUND_NS / 2;
		setups += p->marks[i].kind == MARK_SETUP;
		if (p->marks[i].kind == MARK_SALE || setups <= RESTARTS_MOST)
			add_stretch(s, from - AROUND_NS / 4, to,
			            p->marks[i].kind == MARK_SETUP ? i == 0 ? "Power-up" : "Restart" : sale_title(p, r, from, to));
		i = k;
	}
}

static const char *word_of(struct bus_picture *p, enum ft_rule_id rule)
{
	const char *id = ft_rule(rule)->id, *dot = strchr(id, '.');
	char *word = ft_arena_text(&p->c->arena, ft_slice_of(dot ? dot + 1 : id));

	for (char *x = word; x && *x; x++)
		if (*x == '-')
			*x = ' ';
	return word ? word : "";
}

/* Around a finding, with the figure it belongs to and the one after it. */
static void stretch_finding(struct bus_picture *p, struct stretches *s, int64_t at, const char *title)
{
	int64_t from = at - AROUND_NS, to = at + AROUND_NS;
	size_t low = 0, high = p->count;

	while (low < high) { /* the first figure that begins after `at` */
		size_t middle = (low + high) / 2;
		if (p->figures[middle].start_ns > at)
			high = middle;
		else
			low = middle + 1;
	}
	if (low && p->figures[low - 1].start_ns < from)
		from = p->figures[low - 1].start_ns;
	if (low < p->count && p->figures[low].start_ns > to && p->figures[low].start_ns < at + APART_NS)
		to = p->figures[low].start_ns;
	add_stretch(s, from < 0 ? 0 : from, to, title);
}

static struct ft_bus_pin *pins_of(struct bus_picture *p, const struct ft_findings *f)
{
	struct ft_arena *a = &p->c->arena;
	struct ft_bus_pin *pins = FT_NEW_ARRAY(a, f->count + 1, struct ft_bus_pin);

	for (size_t i = 0; pins && i < f->count; i++) {
		const struct ft_finding *x = &f->list[i];
		const char *seen = x->seen ? ft_arena_printf(a, ". Seen: %s", x->seen) : "";
		const char *expected = x->expected ? ft_arena_printf(a, ". Expected: %s", x->expected) : "";
		pins[i] = (struct ft_bus_pin){ .at_ns = x->where.timed ? x->where.at_us * 1000 + 999
			                                                   : -1, /* the end of its microsecond */
			                           .weight = x->weight,
			                           .word = word_of(p, x->rule) };
		pins[i].sentence =
			ft_arena_printf(a, "%s%s%s", ft_rule(x->rule)->sentence, seen ? seen : "", expected ? expected : "");
	}
	return pins;
}

static const char *about_of(struct bus_picture *p, const struct ft_bus_report *r)
{
	int64_t ms = (r->end_ns - r->start_ns) / 1000000;
	const char *c = r->lines[FT_BUS_CONTROLLER].channel, *q = r->lines[FT_BUS_PERIPHERAL].channel;

	return ft_arena_printf(&p->c->arena, "%lld.%lld s, %llu exchanges%s%s%s%s%s", (long long)(ms / 1000),
	                       (long long)(ms / 100 % 10), (unsigned long long)r->exchanges,
	                       c ? "; controller on channel " : "", c ? c : "", q ? "; peripherals on channel " : "",
	                       q ? q : "",
	                       r->timing_known ? "" : "; the times are those of the computer and not of the bus");
}

static const char *file_name(const char *path)
{
	const char *slash = strrchr(path, '/');

	return slash && slash[1] ? slash + 1 : path;
}

enum ft_status bus_picture_write(struct bus_picture *p, const char *capture, const struct ft_bus_report *r,
                                 const struct ft_findings *f, const char *path)
{
	struct stretches *s = FT_NEW(&p->c->arena, struct stretches);
	struct ft_bus_picture picture = { .title = file_name(capture), .about = about_of(p, r) };
	struct ft_buf out = { 0 };
	enum ft_status status;

	picture.pins = pins_of(p, f);
	if (!s || !picture.pins || p->c->error.status != FT_OK)
		return ft_fail_memory(&p->c->error, "the picture");
	picture.pin_count = f->count;
	if (p->window && !p->count)
		return ft_fail(&p->c->error, FT_E_USAGE,
		               "Nothing is on the bus between --from and --to; the capture goes from %.3f to %.3f s.",
		               (double)r->start_ns / 1e9, (double)r->end_ns / 1e9);
	if (p->window) {
		add_stretch(s, p->from_ns, p->to_ns, "Block by block");
		if (!p->words_full) {
			picture.words = p->words;
			picture.word_count = p->word_count;
		}
	} else {
		stretch_marks(p, r, s);
		for (int weight = FT_FAULT; weight >= FT_NOTE; weight--)
			for (size_t i = 0; i < f->count; i++)
				if ((int)f->list[i].weight == weight && picture.pins[i].at_ns >= 0)
					stretch_finding(p, s, picture.pins[i].at_ns, "Where something was found");
		if (!s->count && p->count)
			add_stretch(s, p->figures[0].start_ns, p->figures[p->count > 30 ? 30 : p->count - 1].end_ns,
			            "As it begins");
	}
	picture.figures = p->figures;
	picture.figure_count = p->count;
	picture.left_out = p->left_out;
	picture.stretches = s->list;
	picture.stretch_count = s->count;
	status = ft_bus_svg(&picture, &p->c->arena, &out, &p->c->error);
	if (status == FT_OK)
		status = cli_write_file(p->c, path, ft_buf_text(&out));
	ft_buf_done(&out);
	return status;
}
