/* SPDX-License-Identifier: Apache-2.0 */
/* A yardstick for `fettle check`: reads every file of a folder, sums PA201 and PA202, compares with
 * VA102 and VA101, and checks G85 with the byte table. Nothing else: no dictionary, no other identity. */
#include <dirent.h>
#include <fcntl.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "fettle/crc.h"

static long long number(const char **p)
{
	long long v = 0;

	while (**p >= '0' && **p <= '9')
		v = v * 10 + (*(*p)++ - '0');
	if (**p == '*')
		(*p)++;
	return v;
}

static int one(const char *b, size_t n)
{
	const char *p = memmem(b, n, "\r\nST*", 5), *g = memmem(b, n, "\r\nG85*", 6);
	long long count = 0, value = 0, want_value = -1, want_count = -1;

	if (!p || !g)
		return 0;
	for (const char *line = b; line && line < b + n;
	     line = memchr(line, '\n', (size_t)(b + n - line)), line += line != NULL) {
		const char *q = line + 4;
		if (memcmp(line, "PA2*", 4) == 0) {
			count += number(&q);
			value += number(&q);
		} else if (memcmp(line, "VA1*", 4) == 0) {
			want_value = number(&q);
			want_count = number(&q);
		}
	}
	return count == want_count && value == want_value &&
		ft_crc16(0, p + 2, (size_t)(g + 2 - p - 2)) == (uint16_t)strtoul(g + 6, NULL, 16);
}

int main(int argc, char **argv)
{
	static char b[1 << 20];
	struct timespec t0, t1;
	long files = 0, good = 0;
	double bytes = 0, s;
	struct dirent *x;
	DIR *dir;

	if (argc != 2 || chdir(argv[1]) || !(dir = opendir(".")))
		return 2;
	clock_gettime(CLOCK_MONOTONIC, &t0);
	while ((x = readdir(dir)) != NULL) {
		int fd = x->d_name[0] == '.' ? -1 : open(x->d_name, O_RDONLY);
		ssize_t n = fd < 0 ? -1 : read(fd, b, sizeof b - 8);
		if (fd >= 0)
			close(fd);
		if (n <= 0)
			continue;
		memset(b + n, 0, 8);
		files++;
		bytes += (double)n;
		good += one(b, (size_t)n);
	}
	closedir(dir);
	clock_gettime(CLOCK_MONOTONIC, &t1);
	s = (double)(t1.tv_sec - t0.tv_sec) + (double)(t1.tv_nsec - t0.tv_nsec) / 1e9;
	printf("%ld files, %ld good, %.0f a second, %.0f MB/s\n", files, good, (double)files / s, bytes / 1e6 / s);
	return files == good ? 0 : 1;
}
