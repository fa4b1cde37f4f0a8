/* SPDX-License-Identifier: Apache-2.0 */
/* The bus through serial adapters: the kernel's marks (termios(3), PARMRK) taken apart, and a port that cannot check
 * parity refused. The wires themselves need an adapter. */
#include <fcntl.h>
#include <stdlib.h>
#include <unistd.h>

#include "unit.h"

#include "fettle/port.h"

static void marks(void **state)
{
	/* 0B* 0B, 00*, FF, FF*, AA, and FF 00 inside a stream that is cut anywhere */
	static const uint8_t bytes[] = { 0xff, 0, 0x0b, 0x0b, 0xff, 0, 0, 0xff, 0xff, 0xff, 0, 0xff, 0xaa, 0 };
	static const struct {
		uint8_t byte;
		bool mode;
	} wanted[] = { { 0x0b, true }, { 0x0b, false }, { 0, true }, { 0xff, false },
		           { 0xff, true }, { 0xaa, false }, { 0, false } };
	struct ft_tap_marks m = { 0 };
	size_t n = 0;

	(void)state;
	for (size_t i = 0; i < sizeof bytes; i++) {
		uint8_t byte;
		bool mode;
		if (!ft_tap_mark(&m, bytes[i], &byte, &mode))
			continue;
		assert_true(n < sizeof wanted / sizeof *wanted);
		assert_int_equal(byte, wanted[n].byte);
		assert_int_equal(mode, wanted[n].mode);
		n++;
	}
	assert_int_equal(n, sizeof wanted / sizeof *wanted);
}

static enum ft_status never(void *to, const struct ft_bus_word *w, size_t n, struct ft_error *e)
{
	(void)to;
	(void)w;
	(void)n;
	(void)e;
	fail_msg("a port without parity tells no words");
	return FT_OK;
}

/* A pseudo-terminal takes no parity: listening there would lose every mode bit without a word. */
static void no_parity_no_bus(void **state)
{
	int master = posix_openpt(O_RDWR | O_NOCTTY);
	const char *paths[FT_BUS_LINES] = { NULL, NULL };
	struct ft_error e = { 0 };

	(void)state;
	assert_true(master >= 0 && grantpt(master) == 0 && unlockpt(master) == 0);
	paths[0] = ptsname(master);
	assert_int_equal(ft_tap_run(paths, 1, NULL, NULL, never, &e), FT_E_LINE);
	assert_non_null(strstr(e.text, "cannot check parity"));
	close(master);
}

int main(void)
{
	const struct CMUnitTest tests[] = { cmocka_unit_test(marks), cmocka_unit_test(no_parity_no_bus) };

	return cmocka_run_group_tests(tests, NULL, NULL);
}
