/* SPDX-License-Identifier: Apache-2.0 */
/* Preloaded before the real program: lets the nth allocation or the nth write fail, as a full disk or
 * a machine without memory would. FAILNTH_KIND is "alloc" or "write", FAILNTH_AT the number from 1
 * (0: none), FAILNTH_ERRNO the error, FAILNTH_ON set: all later ones fail too. How many were counted
 * is written to the file FAILNTH_COUNT at the end. */
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/uio.h>
#include <unistd.h>

extern void *__libc_malloc(size_t n);
extern void *__libc_calloc(size_t n, size_t size);
extern void *__libc_realloc(void *p, size_t n);

static long counted, at = -1;
static bool on, allocations;
static int error_number = EIO;

static long number(const char *text)
{
	return text ? strtoll(text, NULL, 10) : 0;
}

__attribute__((constructor)) static void start(void)
{
	const char *kind = getenv("FAILNTH_KIND");

	allocations = kind && strcmp(kind, "alloc") == 0;
	on = getenv("FAILNTH_ON") != NULL;
	if (getenv("FAILNTH_ERRNO"))
		error_number = (int)number(getenv("FAILNTH_ERRNO"));
	counted = 0;
	at = number(getenv("FAILNTH_AT"));
}

static bool fails(bool allocation)
{
	if (at < 0 || allocation != allocations)
		return false;
	counted++;
	if (at == 0 || (on ? counted < at : counted != at))
		return false;
	errno = allocation ? ENOMEM : error_number;
	return true;
}

__attribute__((destructor)) static void finish(void)
{
	const char *name = getenv("FAILNTH_COUNT");
	FILE *f;
	long n = counted;

	at = -1; /* what follows is ours */
	f = name ? fopen(name, "w") : NULL;
	if (f) {
		fprintf(f, "%ld\n", n);
		fclose(f);
	}
}

void *malloc(size_t n)
{
	return fails(true) ? NULL : __libc_malloc(n);
}

void *calloc(size_t n, size_t size)
{
	return fails(true) ? NULL : __libc_calloc(n, size);
}

void *realloc(void *p, size_t n)
{
	return fails(true) ? NULL : __libc_realloc(p, n);
}

/* The C library's own function behind `name`. */
#define REAL(type, name, ...) (__extension__(type(*)(__VA_ARGS__)) dlsym(RTLD_NEXT, #name))

ssize_t write(int fd, const void *p, size_t n)
{
	return fd > 2 && fails(false) ? -1 : REAL(ssize_t, write, int, const void *, size_t)(fd, p, n);
}

ssize_t pwrite(int fd, const void *p, size_t n, off_t o)
{
	return fails(false) ? -1 : REAL(ssize_t, pwrite, int, const void *, size_t, off_t)(fd, p, n, o);
}

ssize_t pwrite64(int fd, const void *p, size_t n, off64_t o)
{
	return fails(false) ? -1 : REAL(ssize_t, pwrite64, int, const void *, size_t, off64_t)(fd, p, n, o);
}

int fsync(int fd)
{
	return fails(false) ? -1 : REAL(int, fsync, int)(fd);
}

int fdatasync(int fd)
{
	return fails(false) ? -1 : REAL(int, fdatasync, int)(fd);
}

int ftruncate(int fd, off_t n)
{
	return fails(false) ? -1 : REAL(int, ftruncate, int, off_t)(fd, n);
}

int ftruncate64(int fd, off64_t n)
{
	return fails(false) ? -1 : REAL(int, ftruncate64, int, off64_t)(fd, n);
}

int rename(const char *from, const char *to)
{
	return fails(false) ? -1 : REAL(int, rename, const char *, const char *)(from, to);
}
