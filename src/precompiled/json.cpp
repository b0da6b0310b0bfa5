// SPDX-License-Identifier: Apache-2.0
#include "precompiled/json.h"

PLUMBFOOT_JSON_PARTS()
