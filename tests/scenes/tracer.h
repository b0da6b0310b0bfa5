// SPDX-License-Identifier: Apache-2.0
/// @file
/// Rays against the things of a scene (Embree).
#pragma once

#include <memory>

#include "scenes/meshes.h"
#include "scenes/textures.h"
#include "scenes/vec.h"

namespace plumbfoot::scenes {

struct Ray {
  Vec3 from;
  Vec3 way;  ///< Unit.
};

struct Hit {
  bool any = false;
  double distance = 0.0;  ///< [mm]
  std::uint32_t thing = 0;
  SurfacePlace place;
};

class Tracer {
 public:
  /// `things` must outlive the tracer.
  Tracer(const Things& things, int threads);
  ~Tracer();
  Tracer(const Tracer&) = delete;
  Tracer& operator=(const Tracer&) = delete;

  Hit Trace(const Ray& ray, double near_mm = 0.0) const;
  /// Only which thing, and how far.
  Hit TraceThing(const Ray& ray) const;
  /// Is anything between near and far?
  bool Blocked(const Ray& ray, double near_mm, double far_mm) const;
  Material MaterialOf(std::uint32_t thing) const;

 private:
  struct Held;
  const Things& things_;
  std::unique_ptr<Held> held_;
};

}  // namespace plumbfoot::scenes
