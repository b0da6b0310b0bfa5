// SPDX-License-Identifier: Apache-2.0
/// @file
/// How the command keeps its memory.
#pragma once

namespace plumbfoot::cli {

/// Makes large pictures cheap to make and to throw away: freed memory is kept
/// for the next one, and is asked for in large pages. Changes no result. To be
/// called once, before the first photo is opened and the first thread started.
/// Does nothing where the C library isn't glibc.
void KeepFreedMemory();

}  // namespace plumbfoot::cli
