// SPDX-License-Identifier: Apache-2.0
// A precompiled header needs a target, and a target a file.
