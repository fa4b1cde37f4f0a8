/* SPDX-License-Identifier: Apache-2.0 */
/* Server-sent events: a ring of the latest, and streams that each know how far they have got. */
#include "bench.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define BEAT_US (15 * SECOND)
#define LOOK_US (SECOND / 4) /* at the book: a change of another program shows within a blink */

struct stream {
	struct stream *next, **self;
	struct bench *b;
	struct request *request;
	int64_t next_id;
	int64_t sent_us;    /* when something went last */
	struct ft_buf left; /* what goes next */
	size_t at;
	bool asleep, reset, cut;
};

static void wake(struct bench *b)
{
	for (struct stream *s = b->streams; s; s = s->next)
		if (s->asleep) {
			s->asleep = false;
			MHD_resume_connection(s->request->connection);
		}
}

void event_put(struct bench *b, const char *kind, struct ft_slice data)
{
	struct ft_buf out = { 0 };
	struct event *e = &b->events[b->event_id % EVENTS_KEPT];

	ft_buf_printf(&out, "id: %s-%lld\nevent: %s\ndata: ", b->epoch, (long long)b->event_id, kind);
	for (size_t i = 0; i < data.n; i++) /* JSON has no line ends of its own but the last */
		if (data.p[i] != '\n' && data.p[i] != '\r')
			ft_buf_byte(&out, (uint8_t)data.p[i]);
	ft_buf_puts(&out, "\n\n");
	free(e->text);
	*e = (struct event){ .id = b->event_id };
	if (out.status == FT_OK) {
		e->text = out.p;
		e->n = out.n;
	} else {
		ft_buf_done(&out);
	}
	b->event_id++;
	wake(b);
}

void event_text(struct bench *b, const char *kind, const char *data)
{
	event_put(b, kind, ft_slice_of(data));
}

static void fill(struct stream *s)
{
	struct bench *b = s->b;
	int64_t oldest = b->event_id > EVENTS_KEPT ? b->event_id - EVENTS_KEPT : 1;

	ft_buf_clear(&s->left);
	s->at = 0;
	if (s->reset || s->next_id < oldest || s->next_id > b->event_id) {
		ft_buf_printf(&s->left, "id: %s-%lld\nevent: reset\ndata: {}\n\n", b->epoch, (long long)b->event_id - 1);
		s->next_id = b->event_id;
		s->reset = false;
	}
	for (; s->next_id < b->event_id && s->left.n < 65536; s->next_id++) {
		const struct event *e = &b->events[s->next_id % EVENTS_KEPT];
		if (e->text)
			ft_buf_put(&s->left, e->text, e->n);
	}
	if (s->left.n == 0 && bench_now() - s->sent_us >= BEAT_US)
		ft_buf_puts(&s->left, ":\n\n");
}

static ssize_t read_stream(void *cls, uint64_t pos, char *buf, size_t max)
{
	struct stream *s = cls;
	size_t n;

	(void)pos;
	if (s->b->stopping || s->cut)
		return MHD_CONTENT_READER_END_OF_STREAM;
	if (s->at == s->left.n)
		fill(s);
	n = s->left.n - s->at < max ? s->left.n - s->at : max;
	if (n == 0) {
		s->asleep = true;
		MHD_suspend_connection(s->request->connection);
		return 0;
	}
	memcpy(buf, s->left.p + s->at, n);
	s->at += n;
	s->sent_us = bench_now();
	return (ssize_t)n;
}

static void free_stream(void *cls)
{
	struct stream *s = cls;

	*s->self = s->next;
	if (s->next)
		s->next->self = s->self;
	s->b->stream_count--;
	ft_buf_done(&s->left);
	free(s);
}

/* "EPOCH-17": what came last. Of another run of the bench: begin anew. */
static void take_last(struct stream *s, const char *last)
{
	size_t n = strlen(s->b->epoch);
	int64_t id;

	s->next_id = s->b->event_id;
	if (!last)
		return;
	if (strncmp(last, s->b->epoch, n) == 0 && last[n] == '-' && ft_slice_i64(ft_slice_of(last + n + 1), &id) &&
	    id >= 0 && id < s->b->event_id)
		s->next_id = id + 1;
	else
		s->reset = true;
}

void events_stream(struct request *r)
{
	struct bench *b = r->b;
	struct stream *s = b->stream_count < STREAMS_MAX ? calloc(1, sizeof *s) : NULL;

	if (!s) {
		answer_header(r, "Retry-After", "10");
		answer_error(r, 503, "%d windows are listening already; close some.", STREAMS_MAX);
		return;
	}
	s->b = b;
	s->request = r;
	take_last(s, request_header(r, "Last-Event-ID"));
	ft_buf_puts(&s->left, "retry: 1000\n\n");
	s->sent_us = bench_now();
	s->next = b->streams;
	s->self = &b->streams;
	if (s->next)
		s->next->self = &s->next;
	b->streams = s;
	b->stream_count++;
	r->streams = true;
	answer_stream(r, read_stream, s, free_stream);
}

static void tell_changes(struct bench *b)
{
	const char **ids;
	size_t count;
	struct ft_buf out = { 0 };
	struct ft_json j = { .out = &out };
	int64_t latest;

	if (ft_book_visits_changed(b->book, b->changed_us + 1, &b->scratch, &ids, &count, &latest, NULL) != FT_OK)
		return;
	b->changed_us = latest;
	ft_json_object(&j, NULL);
	ft_json_array(&j, "visits");
	for (size_t i = 0; i < count; i++)
		ft_json_text(&j, NULL, ids[i]);
	ft_json_array_end(&j);
	ft_json_object_end(&j);
	event_put(b, "book", ft_buf_text(&out));
	ft_buf_done(&out);
}

void events_turn(struct bench *b, int64_t now_us)
{
	int64_t turn;

	if (now_us - b->looked_us >= LOOK_US) {
		b->looked_us = now_us;
		if (ft_book_turn(b->book, &turn, NULL) == FT_OK && turn != b->turn) {
			b->turn = turn;
			tell_changes(b);
		}
	}
	for (struct stream *s = b->streams; s; s = s->next)
		if (s->asleep && now_us - s->sent_us >= BEAT_US) {
			s->asleep = false;
			MHD_resume_connection(s->request->connection);
		}
}

void events_stop(struct bench *b)
{
	wake(b);
}

void events_gone(struct bench *b, const struct request *r)
{
	for (struct stream *s = b->streams; s; s = s->next)
		if (s->request == r && s->asleep) {
			s->cut = true;
			s->asleep = false;
			MHD_resume_connection(r->connection);
		}
}

void events_cut(struct bench *b, int64_t browser)
{
	for (struct stream *s = b->streams; s; s = s->next)
		s->cut |= s->request->browser == browser;
	wake(b);
}

void events_done(struct bench *b)
{
	for (size_t i = 0; i < EVENTS_KEPT; i++)
		free(b->events[i].text);
}
