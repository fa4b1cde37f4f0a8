/* SPDX-License-Identifier: Apache-2.0 */
/* The command bus, in its parts: reading a capture, telling what is in it, drawing it. */
#ifndef FETTLE_CLI_BUS_H
#define FETTLE_CLI_BUS_H

#include "cli.h"
#include "fettle/bus.h"

/* What the options say of a capture. False (with c->error) where they make no sense. */
bool cli_bus_options(struct cli *c, struct ft_bus_options *ret);

/* Reads a whole capture ("-": standard input), says how far it is on long ones, and judges it. `ret_bus` is to be
 * given back with ft_bus_done after the report was used, also when this fails. */
enum ft_status cli_bus_read(struct cli *c, const char *path, const struct ft_bus_options *o,
                            const struct ft_bus_listener *l, struct ft_findings *f, struct ft_bus **ret_bus,
                            const struct ft_bus_report **ret);

/* Records with the logic analyser `driver` (a name sigrok-cli knows), or where that is NULL through serial `adapters`
 * ("PORT,PORT"), for so many seconds and feeds it all; `keep`: a file for what was recorded, NULL: none. The caller
 * ends the bus. */
enum ft_status bus_live(struct cli *c, const char *driver, const char *adapters, int64_t seconds, struct ft_bus *b,
                        const char *keep);

/* The report for people, with its findings, and as a document. `path` names the capture. */
void bus_show(struct cli *c, const char *path, const struct ft_bus_report *r, const struct ft_findings *f,
              enum ft_verdict v, struct ft_buf *out);
struct bus_traffic;
int bus_document(struct cli *c, const char *path, const struct ft_bus_report *r, const struct ft_findings *f,
                 enum ft_verdict v, struct bus_traffic *t); /* t: to be in it, NULL: none */

/* Findings in the order of diagnosis, what merely follows from another one under it. */
void bus_show_findings(const struct cli *c, const struct ft_findings *f, struct ft_buf *out);

/* ---- the picture ---- */

struct bus_picture; /* in the command's arena */

/* `from_ns`, `to_ns`: the time that is drawn block by block; from -1: the interesting parts of all of it. */
struct bus_picture *bus_picture_new(struct cli *c, int64_t from_ns, int64_t to_ns);
void bus_picture_bus(struct bus_picture *p, const struct ft_bus *b); /* whom to ask for words */
void bus_picture_word(struct bus_picture *p, const struct ft_bus_word *w);
void bus_picture_item(struct bus_picture *p, const struct ft_bus_item *i);
void bus_picture_event(struct bus_picture *p, const struct ft_bus_event *e);
enum ft_status bus_picture_write(struct bus_picture *p, const char *capture, const struct ft_bus_report *r,
                                 const struct ft_findings *f, const char *path);

/* ---- the traffic as it passes ---- */

struct bus_stream {
	struct cli *c;
	const struct ft_bus *bus; /* whom to ask for words */
	bool words, blocks;
	struct ft_buf out;
	bool failed; /* standard output is gone */
};

void bus_stream_word(struct bus_stream *s, const struct ft_bus_word *w);
void bus_stream_item(struct bus_stream *s, const struct ft_bus_item *i);
bool bus_stream_end(struct bus_stream *s); /* false: c->error says why */

/* An item as an object under `key`, `told` what it means. Without its times it is one for all that say the same. */
void bus_json_item(struct ft_json *j, const char *key, const struct ft_bus_item *i, struct ft_slice told, bool times);

/* ---- the traffic inside the report ---- */

struct bus_traffic *bus_traffic_new(struct cli *c); /* in the command's arena; NULL: c->error says why */
void bus_traffic_item(struct bus_traffic *t, const struct ft_bus *bus, const struct ft_bus_item *i);
void bus_traffic_write(struct bus_traffic *t, struct ft_json *j); /* as the key `traffic` */
void bus_traffic_done(struct bus_traffic *t);                     /* NULL: nothing */

/* Seconds with up to nine places as nanoseconds. */
bool bus_seconds(struct ft_slice text, int64_t *ret_ns);

#endif
