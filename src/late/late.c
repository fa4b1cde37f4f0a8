/* SPDX-License-Identifier: Apache-2.0 */
/* Looking for a part beside the program and loading it. */
#include <dlfcn.h>
#include <limits.h>
#include <stdbool.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include "fettle/late.h"

/* From the folder the program lies in. */
static const struct {
	const char *folder;
	bool of_room; /* in the folder of its room there */
} places[] = {
	{ FT_MODULES_FROM_BIN "/", false }, /* installed */
	{ "../", true },                    /* the program in its build folder */
	{ "../src/", true },                /* tests in theirs */
};

/* The path of the part in the `place`th of them; false when it cannot be told. */
static bool path_of(size_t place, const char *room, const char *name, char ret[PATH_MAX])
{
	ssize_t n = readlink("/proc/self/exe", ret, PATH_MAX - 1);
	char *slash;
	int written;

	if (n <= 0)
		return false;
	ret[n] = '\0';
	slash = strrchr(ret, '/');
	if (!slash)
		return false;
	n = slash + 1 - ret;
	written = snprintf(slash + 1, (size_t)(PATH_MAX - n), "%s%s%s%s.so", places[place].folder,
	                   places[place].of_room ? room : "", places[place].of_room ? "/" : "", name);
	return written > 0 && written < PATH_MAX - n;
}

const void *ft_late(const char *name, const char *room, const char *symbol, int version, const char *what,
                    struct ft_error *e)
{
	const char *why = "it does not lie where the program expects it";

	for (size_t i = 0; i < sizeof places / sizeof *places; i++) {
		char path[PATH_MAX];
		void *module;
		const int *found;
		if (!path_of(i, room, name, path) || access(path, R_OK) != 0)
			continue;
		module = dlopen(path, RTLD_NOW | RTLD_LOCAL);
		found = module ? dlsym(module, symbol) : NULL;
		if (found && *found == version)
			return found;
		why = found ? "it belongs to another version of fettle" : dlerror();
	}
	ft_fail(e, FT_E_INTERNAL, "The part of fettle that %s could not be loaded (%s); install fettle anew.", what,
	        why ? why : "no reason was given");
	return NULL;
}
