/* SPDX-License-Identifier: Apache-2.0 */
/* Runs a fuzz target over the files of its corpus, so that every find stays a plain test. Each input lies in
 * memory of its exact size: a sanitizer sees a byte read too far. */
#include <dirent.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static int plain(const struct dirent *d)
{
	return d->d_name[0] != '.';
}

static int try_file(const char *path)
{
	FILE *f = fopen(path, "rb");
	uint8_t *bytes = NULL;
	long size = -1;

	if (f && fseek(f, 0, SEEK_END) == 0)
		size = ftell(f);
	if (size >= 0)
		bytes = malloc((size_t)size ? (size_t)size : 1);
	if (!bytes || fseek(f, 0, SEEK_SET) != 0 || fread(bytes, 1, (size_t)size, f) != (size_t)size) {
		fprintf(stderr, "%s cannot be read.\n", path);
		size = -1;
	} else {
		LLVMFuzzerTestOneInput(bytes, (size_t)size);
	}
	free(bytes);
	if (f)
		fclose(f);
	return size < 0;
}

int main(int argc, char **argv)
{
	struct dirent **names;
	char path[4096];
	int failed = 0, tried = 0;

	for (int i = 1; i < argc; i++) {
		int n = scandir(argv[i], &names, plain, alphasort);
		if (n < 0) {
			fprintf(stderr, "There is no corpus %s.\n", argv[i]);
			return 1;
		}
		for (int k = 0; k < n; k++) {
			snprintf(path, sizeof path, "%s/%s", argv[i], names[k]->d_name);
			failed |= try_file(path);
			free(names[k]);
			tried++;
		}
		free(names);
	}
	printf("%d inputs tried\n", tried);
	return failed || !tried; /* an empty corpus proves nothing */
}
