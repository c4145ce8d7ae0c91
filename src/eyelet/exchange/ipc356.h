// Nets of one board as IPC-D-356A, the open record of bare-board electrical test.
//
// Columns (1-based) as public writers, readers and descriptions of the format agree on (second-hand; the
// standard itself was not read):
//   1-3 operation (317 plated hole, 327 pad without a hole, 367 hole that is not plated, 999 end), 4-17 net,
//   21-26 part, 27 '-', 28-31 pin, 32 'M' where the joint lies within a net, 33 'D' 34-37 hole 38 P or U,
//   39 'A' 40-41 access (00 both sides, 01 component side, 02 solder side), 42 'X' 43-49, 50 'Y' 51-57,
//   58 'X' 59-62 and 63 'Y' 64-67 pad (Y 0000 is round), 68 'R' 69-71 degrees, 73 'S' 74 solder mask
//   (0 none, 3 both sides covered: vias are usually tented).
// Lengths are thousandths of a millimetre (P  UNITS CUST 1). The record has y upwards: the origin is the
// lower left corner of the board seen from the component side. Nets whose name does not fit fourteen plain
// characters are called NNAME1, NNAME2, ... and a parameter record gives the name; a joint that joins nothing
// is N/C. Parts and pins whose names do not fit six and four plain characters get a short stand-in, explained
// by a comment record.
#pragma once

#include <string>
#include <vector>

#include "eyelet/board/evidence.h"
#include "eyelet/board/map.h"
#include "eyelet/core/result.h"

namespace eyelet {

// Joints of `nets` that lie on other boards are left out. Vias that some net holds are written as VIA, others
// are left out. Refused for a board that the six digits of a position cannot hold.
[[nodiscard]] Result<std::string> ipc356(const Assembly& assembly, BoardIndex board,
                                         const std::vector<Net>& nets);

}  // namespace eyelet
