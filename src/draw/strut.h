// SPDX-License-Identifier: Apache-2.0
/// @file
/// The strut that lets the card stand: a tube whose ends are right-angled
/// triangles. It is glued to the card's back with its right-angled edge at the
/// card's outer corner, so that one of its sides lies flat on the ground
/// whichever arm the card stands on.
#pragma once

#include <string>
#include <vector>

#include "plumbfoot/draw/canvas.h"

namespace plumbfoot::draw {

struct Strut {
  double leg_mm = 45.0;    ///< CHOSEN: clear of the inner corner at 48, 48 mm.
  double depth_mm = 60.0;  ///< CHOSEN: what fits below the card on Letter.
  double flap_mm = 11.0;   ///< CHOSEN: a finger's width to press on.
  /// CHOSEN: the lid slides into the tube, so it is smaller by two papers'
  /// thickness on each side.
  double lid_play_mm = 0.4;
};

/// A piece of paper between folds, flat. The printed side is up.
struct NetPanel {
  std::string name;
  std::vector<CanvasPoint> corners;  ///< [mm], y down.
  /// The panel that it hangs on, by its place in the net; -1: it starts a
  /// piece.
  int parent = -1;
  CanvasPoint fold_from;  ///< The fold between the two.
  CanvasPoint fold_to;
  /// How far it is turned about the fold, away from the printed side [deg].
  double turn_deg = 0.0;
  bool glued = false;  ///< Is it a flap?
};

/// The tube: foot a, foot b, slope, the tab that closes it, and the flaps that
/// are glued to the card. Its box begins at (0, 0).
std::vector<NetPanel> TubeNet(const Strut& strut);

/// The lid for the tube's far end, with its flaps. Its box begins at (0, 0).
std::vector<NetPanel> LidNet(const Strut& strut);

/// The box round a net.
Box NetBox(const std::vector<NetPanel>& net);

}  // namespace plumbfoot::draw
