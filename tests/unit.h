/* SPDX-License-Identifier: Apache-2.0 */
/* What every unit test includes: cmocka and the headers it forgets to include itself. */
#ifndef FETTLE_TESTS_UNIT_H
#define FETTLE_TESTS_UNIT_H

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#endif
