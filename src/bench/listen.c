/* SPDX-License-Identifier: Apache-2.0 */
/* Where the bench listens. */
#include "bench.h"

#include <arpa/inet.h>
#include <errno.h>
#include <ifaddrs.h>
#include <net/if.h>
#include <netdb.h>
#include <netinet/tcp.h>
#include <stdio.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

#define SILENT_MS 60000 /* ours: four heartbeats that nobody acknowledges */

/* ADDRESS, ADDRESS:PORT, [ADDRESS] or [ADDRESS]:PORT; a bare IPv6 address has more than one colon. */
static bool take_apart(const char *text, char address[64], int *port)
{
	struct ft_slice all = ft_slice_of(text), name = all, rest = { 0 };
	size_t colon = ft_slice_find(all, FT_SLICE(":"));
	int64_t v;

	if (all.n && all.p[0] == '[') {
		size_t end = ft_slice_find(all, FT_SLICE("]"));
		if (end == all.n)
			return false;
		name = (struct ft_slice){ all.p + 1, end - 1 };
		rest = (struct ft_slice){ all.p + end + 1, all.n - end - 1 };
	} else if (colon < all.n && !memchr(all.p + colon + 1, ':', all.n - colon - 1)) {
		name.n = colon;
		rest = (struct ft_slice){ all.p + colon, all.n - colon };
	}
	if (name.n == 0 || name.n >= 64)
		return false;
	memcpy(address, name.p, name.n);
	address[name.n] = 0;
	if (rest.n == 0)
		return true;
	if (rest.p[0] != ':' || !ft_slice_i64((struct ft_slice){ rest.p + 1, rest.n - 1 }, &v) || v < 0 || v > 65535)
		return false;
	*port = (int)v;
	return true;
}

static bool is_loopback(const struct sockaddr_storage *a)
{
	if (a->ss_family == AF_INET)
		return (ntohl(((const struct sockaddr_in *)a)->sin_addr.s_addr) >> 24) == 127;
	return IN6_IS_ADDR_LOOPBACK(&((const struct sockaddr_in6 *)a)->sin6_addr);
}

static bool is_any(const struct sockaddr_storage *a)
{
	if (a->ss_family == AF_INET)
		return ((const struct sockaddr_in *)a)->sin_addr.s_addr == htonl(INADDR_ANY);
	return IN6_IS_ADDR_UNSPECIFIED(&((const struct sockaddr_in6 *)a)->sin6_addr);
}

static const void *bytes_of(const struct sockaddr *a)
{
	return a->sa_family == AF_INET ? (const void *)&((const struct sockaddr_in *)(const void *)a)->sin_addr
								   : (const void *)&((const struct sockaddr_in6 *)(const void *)a)->sin6_addr;
}

/* The address that a phone could reach us at, of the family that is listened on; "" when there is none. */
static void reachable(int family, char out[INET6_ADDRSTRLEN])
{
	struct ifaddrs *list = NULL;

	*out = 0;
	if (getifaddrs(&list) != 0)
		return;
	for (const struct ifaddrs *i = list; i && !*out; i = i->ifa_next)
		if (i->ifa_addr && i->ifa_addr->sa_family == family && (i->ifa_flags & IFF_UP) &&
		    !(i->ifa_flags & IFF_LOOPBACK) &&
		    !(family == AF_INET6 &&
		      IN6_IS_ADDR_LINKLOCAL(&((const struct sockaddr_in6 *)(const void *)i->ifa_addr)->sin6_addr)))
			inet_ntop(family, bytes_of(i->ifa_addr), out, INET6_ADDRSTRLEN);
	freeifaddrs(list);
}

static void name_it(struct bench *b)
{
	char text[INET6_ADDRSTRLEN] = "";

	if (b->any)
		reachable(b->address.ss_family, text);
	if (!*text)
		inet_ntop(b->address.ss_family, bytes_of((const struct sockaddr *)&b->address), text, sizeof text);
	snprintf(b->host, sizeof b->host, b->address.ss_family == AF_INET6 ? "[%s]:%d" : "%s:%d", text, b->port);
	snprintf(b->url, sizeof b->url, "http://%s/", b->host);
}

static int open_socket(struct bench *b, const struct addrinfo *a)
{
	unsigned silent_ms = SILENT_MS;
	int one = 1, fd = socket(a->ai_family, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
	socklen_t n = sizeof b->address;

	if (fd < 0)
		return -1;
	(void)setsockopt(fd, SOL_SOCKET, SO_REUSEADDR, &one, sizeof one);
	/* a phone that is carried out of range says no farewell; its connections inherit this */
	(void)setsockopt(fd, IPPROTO_TCP, TCP_USER_TIMEOUT, &silent_ms, sizeof silent_ms);
	if (bind(fd, a->ai_addr, a->ai_addrlen) == 0 && listen(fd, 1024) == 0 &&
	    getsockname(fd, (struct sockaddr *)&b->address, &n) == 0)
		return fd;
	one = errno;
	close(fd);
	errno = one;
	return -1;
}

static int port_of(const struct sockaddr_storage *a)
{
	return ntohs(a->ss_family == AF_INET ? ((const struct sockaddr_in *)a)->sin_port
	                                     : ((const struct sockaddr_in6 *)a)->sin6_port);
}

enum ft_status listen_at(struct bench *b, int *ret, struct ft_error *e)
{
	const char *asked = b->s->listen ? b->s->listen : "127.0.0.1";
	struct addrinfo hints = { .ai_flags = AI_NUMERICHOST | AI_NUMERICSERV | AI_PASSIVE, .ai_socktype = SOCK_STREAM };
	struct addrinfo *found = NULL;
	char address[64], port_text[8];
	int port = b->s->port, fd;

	if (!take_apart(asked, address, &port))
		return ft_fail(e, FT_E_USAGE, "--listen takes an address such as 192.168.7.4 or 192.168.7.4:8080, not \"%s\".",
		               asked);
	snprintf(port_text, sizeof port_text, "%d", port);
	if (getaddrinfo(strcmp(address, "localhost") == 0 ? "127.0.0.1" : address, port_text, &hints, &found) != 0 ||
	    !found)
		return ft_fail(e, FT_E_USAGE, "\"%s\" is no address of a network; ip address lists those of this computer.",
		               address);
	fd = open_socket(b, found);
	freeaddrinfo(found);
	if (fd < 0 && errno == EADDRINUSE)
		return ft_fail(e, FT_E_LINE,
		               "Port %d of %s is in use, perhaps by another bench; close that or take another with --port.",
		               port, address);
	if (fd < 0)
		return ft_fail(e, FT_E_LINE, "The bench cannot listen at %s, port %d: %s.", address, port, strerror(errno));
	b->port = port_of(&b->address);
	b->loopback = is_loopback(&b->address);
	b->any = is_any(&b->address);
	name_it(b);
	*ret = fd;
	return FT_OK;
}
