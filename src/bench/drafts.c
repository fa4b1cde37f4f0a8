/* SPDX-License-Identifier: Apache-2.0 */
/* Drafts: what a form holds while it is filled in. */
#include "bench.h"

static void put_draft(struct ft_json *j, const char *key, const struct ft_draft *d, bool text)
{
	char at[FT_TIME_TEXT];

	if (d->version == 0) {
		ft_json_null(j, key);
		return;
	}
	ft_json_object(j, key);
	ft_json_text(j, "key", d->key);
	ft_json_i64(j, "version", d->version);
	ft_json_i64(j, "bytes", d->bytes);
	ft_json_text(j, "changed", ft_time_text(d->changed_us, d->changed_offset, at));
	if (text)
		ft_json_slice(j, "text", d->text.p ? d->text : FT_SLICE(""));
	ft_json_object_end(j);
}

static void answer_draft(struct request *r, unsigned status, const struct ft_draft *d, bool text)
{
	struct ft_buf out = { 0 };
	struct ft_json j;

	document_begin(&j, &out);
	put_draft(&j, "draft", d, text);
	if (status == 409) {
		ft_json_text(&j, "error", "Somebody else wrote this meanwhile.");
		ft_json_i64(&j, "exit", FT_E_USAGE);
	}
	document_end(&j);
	answer_json(r, status, &out);
}

static void tell(struct request *r, const char *key, int64_t version)
{
	struct ft_buf out = { 0 };
	struct ft_json j = { .out = &out };

	ft_json_object(&j, NULL);
	ft_json_text(&j, "key", key);
	ft_json_i64(&j, "version", version);
	ft_json_text(&j, "browser", r->page);
	ft_json_object_end(&j);
	event_put(r->b, "draft", ft_buf_text(&out));
	ft_buf_done(&out);
}

static const char *key_of(struct request *r)
{
	const char *key = request_part(r, "key");

	if (ft_draft_key_good(ft_slice_of(key)))
		return key;
	answer_error(r, 400, "A draft's key has 1 to %u letters, digits or . _ : ~ -.", FT_DRAFT_KEY_MAX);
	return NULL;
}

void draft_list(struct request *r)
{
	const char *prefix = request_query(r, "prefix");
	struct ft_error e = { 0 };
	struct ft_draft *list;
	size_t count;
	struct ft_buf out = { 0 };
	struct ft_json j;

	if (ft_book_draft_list(r->b->book, prefix ? prefix : "", &r->arena, &list, &count, &e) != FT_OK) {
		answer_failure(r, &e);
		return;
	}
	document_begin(&j, &out);
	ft_json_array(&j, "drafts");
	for (size_t i = 0; i < count; i++)
		put_draft(&j, NULL, &list[i], false);
	ft_json_array_end(&j);
	document_end(&j);
	answer_json(r, 200, &out);
}

void draft_get(struct request *r)
{
	const char *key = key_of(r);
	struct ft_error e = { 0 };
	struct ft_draft d;

	if (!key)
		return;
	if (ft_book_draft_get(r->b->book, key, &r->arena, &d, &e) != FT_OK)
		answer_failure(r, &e);
	else if (d.version == 0)
		answer_error(r, 404, "There is no draft %s.", key);
	else
		answer_draft(r, 200, &d, true);
}

void draft_put(struct request *r)
{
	const char *key = key_of(r), *on_text = request_query(r, "version");
	struct ft_draft d = { .key = key, .text = ft_buf_text(&r->text) }, stands = { 0 };
	struct ft_error e = { 0 };
	bool written = false;
	int64_t on = 0;

	if (!key || (on_text && !request_number(r, "version", on_text, 0, INT64_MAX - 1, &on)))
		return;
	d.changed_us = bench_wall(&d.changed_offset);
	if (ft_book_draft_put(r->b->book, &d, on, &r->arena, &stands, &written, &e) != FT_OK) {
		answer_failure(r, &e);
		return;
	}
	answer_draft(r, written ? 200 : 409, &stands, !written);
	if (written)
		tell(r, key, stands.version);
}

void draft_drop(struct request *r)
{
	const char *key = key_of(r), *on_text = request_query(r, "version");
	struct ft_draft stands = { 0 };
	struct ft_error e = { 0 };
	bool dropped = false;
	int64_t on = FT_ABSENT;

	if (!key || (on_text && !request_number(r, "version", on_text, 0, INT64_MAX - 1, &on)))
		return;
	if (ft_book_draft_drop(r->b->book, key, on, &r->arena, &stands, &dropped, &e) != FT_OK) {
		answer_failure(r, &e);
		return;
	}
	answer_draft(r, dropped ? 200 : 409, &stands, !dropped);
	if (dropped)
		tell(r, key, 0);
}
