# SPDX-License-Identifier: Apache-2.0
# A yardstick for `fettle check`: PA201 and PA202 of every file summed and held against VA102 and VA101, and
# nothing else: no check value, no dictionary, no other identity.
BEGIN { FS = "*"; RS = "\r\n" }
function judge() { if (files++) good += count == want_count && value == want_value; count = value = 0 }
FNR == 1 { judge() }
$1 == "PA2" { count += $2; value += $3 }
$1 == "VA1" { want_value = $2; want_count = $3 }
END { judge(); print files - 1 " files, " good " good"; exit files - 1 != good }
