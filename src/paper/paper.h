/* SPDX-License-Identifier: Apache-2.0 */
/* Shared inside the paper room. */
#ifndef FETTLE_SRC_PAPER_H
#define FETTLE_SRC_PAPER_H

#include "fettle/paper.h"

#endif
