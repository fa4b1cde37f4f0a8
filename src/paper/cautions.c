/* SPDX-License-Identifier: Apache-2.0 */
#include "fettle/paper.h"

size_t ft_cautions(const struct ft_caution **ret)
{
	static const struct ft_caution cautions[] = {
#define ROW(ident, id, title, sentence, trust, source) { id, title, sentence, trust, source },
#include "cautions.inc"
#undef ROW
	};

	*ret = cautions;
	return sizeof cautions / sizeof *cautions;
}
