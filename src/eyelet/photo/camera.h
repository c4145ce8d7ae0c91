// The camera belongs to the board's types (board/camera.h), because painters use it too; this name stays for photo/.
#pragma once

#include "eyelet/board/camera.h"
