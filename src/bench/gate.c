/* SPDX-License-Identifier: Apache-2.0 */
/* Who may ask: Host against pages of others that resolve to us, Origin against pages of others that post to us, the
 * cookie against others on the network. */
#include "bench.h"

#include <arpa/inet.h>
#include <ifaddrs.h>
#include <net/if.h>
#include <sodium.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

/* An address of one of our own interfaces, as text. */
static bool own_address(struct ft_slice text, bool loopback_only)
{
	struct ifaddrs *list = NULL;
	char name[INET6_ADDRSTRLEN];
	struct in6_addr six;
	struct in_addr four;
	bool found = false;
	int family = AF_INET;

	if (text.n >= sizeof name)
		return false;
	memcpy(name, text.p, text.n);
	name[text.n] = 0;
	if (inet_pton(AF_INET, name, &four) != 1) {
		family = AF_INET6;
		if (inet_pton(AF_INET6, name, &six) != 1)
			return false;
	}
	if (loopback_only && family == AF_INET && ntohl(four.s_addr) >> 24 == IN_LOOPBACKNET)
		return true; /* all of them, though the interface lists one */
	if (getifaddrs(&list) != 0)
		return false;
	for (const struct ifaddrs *i = list; i && !found; i = i->ifa_next) {
		if (!i->ifa_addr || i->ifa_addr->sa_family != family || (loopback_only && !(i->ifa_flags & IFF_LOOPBACK)))
			continue;
		if (family == AF_INET)
			found = memcmp(&((const struct sockaddr_in *)(const void *)i->ifa_addr)->sin_addr, &four, sizeof four) == 0;
		else
			found = memcmp(&((const struct sockaddr_in6 *)(const void *)i->ifa_addr)->sin6_addr, &six, sizeof six) == 0;
	}
	freeifaddrs(list);
	return found;
}

/* "name:port" or "[address]:port" or without a port where that is 80. */
static bool split_host(const struct bench *b, struct ft_slice host, struct ft_slice *ret_name)
{
	size_t end = host.n, at = 0;
	int64_t port = 80;

	if (host.n && host.p[0] == '[') {
		at = ft_slice_find(host, FT_SLICE("]"));
		if (at == host.n)
			return false;
		*ret_name = (struct ft_slice){ host.p + 1, at - 1 };
		at++;
	} else {
		at = ft_slice_find(host, FT_SLICE(":"));
		*ret_name = (struct ft_slice){ host.p, at };
	}
	if (at < end &&
	    (host.p[at] != ':' || !ft_is_digit(host.p[end - 1]) ||
	     !ft_slice_i64((struct ft_slice){ host.p + at + 1, end - at - 1 }, &port)))
		return false;
	return port == b->port && ret_name->n > 0;
}

bool host_good(const struct bench *b, struct ft_slice host)
{
	char own[256] = "", local[264];
	struct ft_slice name;

	if (!split_host(b, host, &name))
		return false;
	if (b->loopback)
		return ft_slice_eq_nocase(name, FT_SLICE("localhost")) || own_address(name, true);
	if (own_address(name, false))
		return true;
	/* its own name on its own network: what others cannot make a browser believe */
	if (gethostname(own, sizeof own - 1) != 0 || !*own)
		return false;
	snprintf(local, sizeof local, "%s.local", own);
	return ft_slice_eq_nocase(name, ft_slice_of(own)) || ft_slice_eq_nocase(name, ft_slice_of(local));
}

bool gate_host(struct request *r)
{
	const char *host = request_header(r, "Host");

	if (host && host_good(r->b, ft_slice_of(host)))
		return true;
	answer_error(r, 421, "This bench does not go by that name; open %s.", r->b->url);
	return false;
}

bool gate_origin(struct request *r)
{
	const char *origin = request_header(r, "Origin"), *host = request_header(r, "Host");
	const char *site = request_header(r, "Sec-Fetch-Site");
	bool reads = strcmp(r->method, "GET") == 0 || strcmp(r->method, "HEAD") == 0;
	bool api = strncmp(r->path, "/api/", 5) == 0;
	bool own = origin && host && strncmp(origin, "http://", 7) == 0 && strcmp(origin + 7, host) == 0;

	/* Another page could not see an answer to a GET either, but it could set us to work. */
	if (reads ? (!origin || own) && (!api || !site || strcmp(site, "same-origin") == 0 || strcmp(site, "none") == 0)
	          : own)
		return true;
	answer_error(r, 403, "This may only be asked by the bench's own pages.");
	return false;
}

/* The value of the cookie `fettle`. */
static struct ft_slice cookie_of(const struct request *r)
{
	const char *text = MHD_lookup_connection_value(r->connection, MHD_COOKIE_KIND, "fettle");

	return ft_slice_of(text);
}

int64_t gate_browser(struct request *r)
{
	struct ft_slice cookie = cookie_of(r);
	struct ft_browser x = { 0 };
	struct ft_hash h;

	if (cookie.n != 64) /* 32 bytes in hexadecimal */
		return 0;
	h = ft_hash_of(cookie.p, cookie.n);
	if (ft_book_browser_by(r->b->book, &h, &r->arena, &x, NULL) != FT_OK || x.number == 0)
		return 0;
	if (bench_wall(NULL) - x.seen_us > 60 * SECOND)
		(void)ft_book_browser_seen(r->b->book, x.number, bench_wall(NULL), NULL);
	return x.number;
}

bool gate_cookie(struct request *r)
{
	if (!r->b->pairing.wanted)
		return true;
	r->browser = gate_browser(r);
	if (r->route->open || r->browser)
		return true;
	answer_error(r, 401, "This browser is not paired; enter the code that the bench shows in its terminal.");
	return false;
}
