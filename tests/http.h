/* SPDX-License-Identifier: Apache-2.0 */
/* A tiny HTTP client for tests: one request a connection, no cleverness that could hide a mistake of the server. */
#ifndef FETTLE_TESTS_HTTP_H
#define FETTLE_TESTS_HTTP_H

#include <stdbool.h>
#include <stddef.h>

struct http_reply {
	int status; /* 0: the connection ended without an answer */
	char *head; /* status line and headers */
	char *body;
	size_t n;
};

/* What to send beside the request line; NULL: left out. */
struct http_request {
	const char *method, *path;
	const char *host;   /* NULL: 127.0.0.1:port */
	const char *origin; /* NULL: that of the server where the method changes something; "": none */
	const char *cookie, *type, *etag, *accept_encoding, *last_event_id;
	const void *body;
	size_t body_n;
};

struct http_reply http_ask(int port, const struct http_request *r);
void http_done(struct http_reply *r);
/* Value of a header, into `to`; false: it is not there. */
bool http_header(const struct http_reply *r, const char *name, char *to, size_t room);

/* A connection with the request sent and nothing read, for streams; -1. */
int http_open(int port, const struct http_request *r);
/* Reads until `text` has come or the time is over; keeps all that came in `seen`. */
bool http_until(int fd, char *seen, size_t room, const char *text);

#endif
