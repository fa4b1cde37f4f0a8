/* SPDX-License-Identifier: Apache-2.0 */
#include "http.h"

#include <arpa/inet.h>
#include <netinet/in.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/socket.h>
#include <sys/time.h>
#include <unistd.h>

#define PATIENCE_MS 30000 /* a test that waits so long has failed */

static int connect_to(int port)
{
	struct sockaddr_in a = { .sin_family = AF_INET, .sin_port = htons((unsigned short)port) };
	struct timeval t = { .tv_sec = PATIENCE_MS / 1000 };
	int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);

	a.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
	if (fd < 0)
		return -1;
	setsockopt(fd, SOL_SOCKET, SO_RCVTIMEO, &t, sizeof t);
	setsockopt(fd, SOL_SOCKET, SO_SNDTIMEO, &t, sizeof t);
	if (connect(fd, (struct sockaddr *)&a, sizeof a) == 0)
		return fd;
	close(fd);
	return -1;
}

static bool send_all(int fd, const char *p, size_t n)
{
	while (n) {
		ssize_t did = send(fd, p, n, MSG_NOSIGNAL);
		if (did <= 0)
			return false;
		p += did;
		n -= (size_t)did;
	}
	return true;
}

static void header(char *head, size_t room, const char *name, const char *value)
{
	size_t n = strlen(head);

	if (value && *value)
		snprintf(head + n, room - n, "%s: %s\r\n", name, value);
}

int http_open(int port, const struct http_request *r)
{
	char head[8192], own[64], origin[80];
	bool changes = strcmp(r->method, "GET") != 0 && strcmp(r->method, "HEAD") != 0;
	int fd = connect_to(port);
	size_t n;

	if (fd < 0)
		return -1;
	snprintf(own, sizeof own, "127.0.0.1:%d", port);
	snprintf(origin, sizeof origin, "http://%s", own);
	snprintf(head, sizeof head, "%s %s HTTP/1.1\r\nConnection: close\r\n", r->method, r->path);
	header(head, sizeof head, "Host", r->host ? r->host : own);
	header(head, sizeof head, "Origin", r->origin ? r->origin : changes ? origin : NULL);
	header(head, sizeof head, "Cookie", r->cookie);
	header(head, sizeof head, "Content-Type", r->type);
	header(head, sizeof head, "If-None-Match", r->etag);
	header(head, sizeof head, "Accept-Encoding", r->accept_encoding);
	header(head, sizeof head, "Last-Event-ID", r->last_event_id);
	n = strlen(head);
	snprintf(head + n, sizeof head - n, changes ? "Content-Length: %zu\r\n\r\n" : "\r\n", r->body_n);
	/* a refusal may come before all was sent; what it says is read all the same */
	if (send_all(fd, head, strlen(head)) && r->body_n)
		(void)send_all(fd, r->body, r->body_n);
	return fd;
}

struct http_reply http_ask(int port, const struct http_request *r)
{
	struct http_reply reply = { 0 };
	size_t room = 0, n = 0;
	char *all = NULL, *end;
	int fd = http_open(port, r);

	for (ssize_t got = 1; fd >= 0 && got > 0;) {
		if (room - n < 65536)
			all = realloc(all, room = room * 2 + 131072);
		if (!all)
			abort();
		got = recv(fd, all + n, room - n - 1, 0);
		n += got > 0 ? (size_t)got : 0;
	}
	if (fd >= 0)
		close(fd);
	if (!all)
		return reply;
	all[n] = 0;
	end = strstr(all, "\r\n\r\n");
	if (!end || strncmp(all, "HTTP/1.1 ", 9) != 0) {
		free(all);
		return reply;
	}
	end[2] = 0;
	reply.head = all;
	reply.body = end + 4;
	reply.n = n - (size_t)(reply.body - all);
	reply.status = (all[9] - '0') * 100 + (all[10] - '0') * 10 + (all[11] - '0');
	return reply;
}

void http_done(struct http_reply *r)
{
	free(r->head); /* the body lies behind it */
	*r = (struct http_reply){ 0 };
}

bool http_header(const struct http_reply *r, const char *name, char *to, size_t room)
{
	size_t n = strlen(name);

	for (const char *line = r->head; line && *line; line = strstr(line, "\r\n"), line = line ? line + 2 : NULL)
		if (strncasecmp(line, name, n) == 0 && line[n] == ':') {
			snprintf(to, room, "%.*s", (int)strcspn(line + n + 2, "\r"), line + n + 2);
			return true;
		}
	return false;
}

bool http_until(int fd, char *seen, size_t room, const char *text)
{
	size_t n = strlen(seen);

	while (!strstr(seen, text)) {
		ssize_t got;
		if (n + 1 >= room)
			return false;
		got = recv(fd, seen + n, room - n - 1, 0);
		if (got <= 0)
			return false;
		n += (size_t)got;
		seen[n] = 0;
	}
	return true;
}
