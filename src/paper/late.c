/* SPDX-License-Identifier: Apache-2.0 */
/* The drawing of sheets is loaded when the first sheet is drawn: cairo, pango and what they bring would otherwise more
 * than double the time every command takes to start. The module lies beside the program and nowhere else: where it was
 * installed with it, or in the tree it was built in. */
#include <dlfcn.h>
#include <limits.h>
#include <string.h>
#include <unistd.h>

#include "paper.h"

/* From the folder the program lies in. */
static const char *const places[] = {
	FT_MODULES_FROM_BIN "/fettle-sheets.so", /* installed */
	"../paper/fettle-sheets.so",             /* the program in its build folder */
	"../src/paper/fettle-sheets.so",         /* tests in theirs */
};

/* "FOLDER/PLACE" of the running program; false when it cannot be told. */
static bool place_of(const char *place, char ret[PATH_MAX])
{
	ssize_t n = readlink("/proc/self/exe", ret, PATH_MAX - 1);
	char *slash;

	if (n <= 0)
		return false;
	ret[n] = '\0';
	slash = strrchr(ret, '/');
	if (!slash || (size_t)(slash - ret) + strlen(place) + 2 > PATH_MAX)
		return false;
	memcpy(slash + 1, place, strlen(place) + 1);
	return true;
}

static const struct paper_sheets *load(struct ft_error *e)
{
	const char *why = "it does not lie where the program expects it";

	for (size_t i = 0; i < sizeof places / sizeof *places; i++) {
		char path[PATH_MAX];
		void *module;
		const struct paper_sheets *sheets;
		if (!place_of(places[i], path) || access(path, R_OK) != 0)
			continue;
		module = dlopen(path, RTLD_NOW | RTLD_LOCAL); /* stays until the program ends */
		sheets = module ? dlsym(module, "ft_sheets") : NULL;
		if (sheets && sheets->version == PAPER_SHEETS_VERSION)
			return sheets;
		why = sheets ? "it belongs to another version of fettle" : dlerror();
	}
	ft_fail(e, FT_E_INTERNAL, "The part of fettle that draws sheets could not be loaded (%s); install fettle anew.",
	        why ? why : "no reason was given");
	return NULL;
}

enum ft_status ft_handover_pdf(const struct ft_handover *h, const struct ft_seal_text *seal, enum ft_sheet sheet,
                               struct ft_arena *a, struct ft_buf *out, int *ret_pages, struct ft_error *e)
{
	const struct paper_sheets *sheets = load(e);

	return sheets ? sheets->handover(h, seal, sheet, a, out, ret_pages, e) : e ? e->status : FT_E_INTERNAL;
}
