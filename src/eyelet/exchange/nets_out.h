// Links and nets as other programs read them: JSON as in the interface table, CSV (RFC 4180), and a table for
// eyes.
#pragma once

#include <string>
#include <vector>

#include "eyelet/board/evidence.h"
#include "eyelet/board/map.h"

namespace eyelet {

// {"links":[{"from":"U1.3","to":"R2.1","side":"top","probability":0.93,"standing":"proposed","width_mm":0.3,
//            "hidden":0.1}]}, in the order given. A cable's conductor has "side":null and its width null; so
//            has a
// link of unknown width. Names are joint names of `assembly`.
[[nodiscard]] std::string links_json(const Assembly& assembly, const std::vector<Link>& links);
[[nodiscard]] std::string links_table(const Assembly& assembly, const std::vector<Link>& links);

// {"nets":[{"name":"…","standing":"…","joints":["U1.3","R2.1"]}]}, in the order given.
[[nodiscard]] std::string nets_json(const Assembly& assembly, const std::vector<Net>& nets);

// One record a joint: net,standing,joint,board,part,pin,x_mm,y_mm,side. Lines end with CR LF, a field with a
// comma, a quote or a line break stands in quotes (RFC 4180). A field that a spreadsheet would take for a
// formula is written as it is: joint names are data, and a program that reads them back must get them
// unchanged.
[[nodiscard]] std::string nets_csv(const Assembly& assembly, const std::vector<Net>& nets);

// Columns for eyes: name, standing, how many joints, which; long lists go on in the next line.
[[nodiscard]] std::string nets_table(const Assembly& assembly, const std::vector<Net>& nets);

}  // namespace eyelet
