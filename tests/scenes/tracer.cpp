// SPDX-License-Identifier: Apache-2.0
#include "scenes/tracer.h"

#include <embree3/rtcore.h>

#include <limits>
#include <stdexcept>
#include <string>

namespace plumbfoot::scenes {
namespace {

RTCRayHit ToEmbree(const Ray& ray, double near_mm, double far_mm) {
  RTCRayHit r{};
  r.ray.org_x = static_cast<float>(ray.from.x);
  r.ray.org_y = static_cast<float>(ray.from.y);
  r.ray.org_z = static_cast<float>(ray.from.z);
  r.ray.dir_x = static_cast<float>(ray.way.x);
  r.ray.dir_y = static_cast<float>(ray.way.y);
  r.ray.dir_z = static_cast<float>(ray.way.z);
  r.ray.tnear = static_cast<float>(near_mm);
  r.ray.tfar = static_cast<float>(far_mm);
  r.ray.mask = 0xffffffffU;
  r.hit.geomID = RTC_INVALID_GEOMETRY_ID;
  r.hit.instID[0] = RTC_INVALID_GEOMETRY_ID;
  return r;
}

}  // namespace

struct Tracer::Held {
  RTCDevice device = nullptr;
  RTCScene scene = nullptr;
};

Tracer::Tracer(const Things& things, int threads)
    : things_(things), held_(std::make_unique<Held>()) {
  const std::string config = "threads=" + std::to_string(threads);
  held_->device = rtcNewDevice(config.c_str());
  if (held_->device == nullptr) throw std::logic_error("Embree: no device");
  held_->scene = rtcNewScene(held_->device);
  // Without it a ray can slip between two triangles along their shared edge.
  rtcSetSceneFlags(held_->scene, RTC_SCENE_FLAG_ROBUST);
  for (const Mesh& mesh : things.meshes) {
    RTCGeometry g = rtcNewGeometry(held_->device, RTC_GEOMETRY_TYPE_TRIANGLE);
    auto* v =
        static_cast<float*>(rtcSetNewGeometryBuffer(g,
                                                    RTC_BUFFER_TYPE_VERTEX,
                                                    0,
                                                    RTC_FORMAT_FLOAT3,
                                                    3 * sizeof(float),
                                                    mesh.places.size()));
    for (const Vec3& p : mesh.places) {
      *v++ = static_cast<float>(p.x);
      *v++ = static_cast<float>(p.y);
      *v++ = static_cast<float>(p.z);
    }
    auto* t =
        static_cast<unsigned*>(rtcSetNewGeometryBuffer(g,
                                                       RTC_BUFFER_TYPE_INDEX,
                                                       0,
                                                       RTC_FORMAT_UINT3,
                                                       3 * sizeof(unsigned),
                                                       mesh.triangles.size()));
    for (const auto& triangle : mesh.triangles) {
      for (const auto i : triangle) *t++ = i;
    }
    rtcCommitGeometry(g);
    rtcAttachGeometry(held_->scene, g);
    rtcReleaseGeometry(g);
  }
  for (const Strands& strands : things.strands) {
    RTCGeometry g =
        rtcNewGeometry(held_->device, RTC_GEOMETRY_TYPE_FLAT_LINEAR_CURVE);
    auto* v =
        static_cast<float*>(rtcSetNewGeometryBuffer(g,
                                                    RTC_BUFFER_TYPE_VERTEX,
                                                    0,
                                                    RTC_FORMAT_FLOAT4,
                                                    4 * sizeof(float),
                                                    strands.knots.size()));
    for (const auto& k : strands.knots) {
      *v++ = static_cast<float>(k.place.x);
      *v++ = static_cast<float>(k.place.y);
      *v++ = static_cast<float>(k.place.z);
      *v++ = static_cast<float>(k.radius);
    }
    auto* t =
        static_cast<unsigned*>(rtcSetNewGeometryBuffer(g,
                                                       RTC_BUFFER_TYPE_INDEX,
                                                       0,
                                                       RTC_FORMAT_UINT,
                                                       sizeof(unsigned),
                                                       strands.starts.size()));
    for (const auto i : strands.starts) *t++ = i;
    rtcCommitGeometry(g);
    rtcAttachGeometry(held_->scene, g);
    rtcReleaseGeometry(g);
  }
  rtcCommitScene(held_->scene);
}

Tracer::~Tracer() {
  rtcReleaseScene(held_->scene);
  rtcReleaseDevice(held_->device);
}

Hit Tracer::TraceThing(const Ray& ray) const {
  RTCRayHit r = ToEmbree(ray, 0, std::numeric_limits<float>::infinity());
  RTCIntersectContext context;
  rtcInitIntersectContext(&context);
  rtcIntersect1(held_->scene, &context, &r);
  Hit hit;
  hit.any = r.hit.geomID != RTC_INVALID_GEOMETRY_ID;
  hit.distance = r.ray.tfar;
  hit.thing = r.hit.geomID;
  return hit;
}

Hit Tracer::Trace(const Ray& ray, double near_mm) const {
  RTCRayHit r = ToEmbree(ray, near_mm, std::numeric_limits<float>::infinity());
  RTCIntersectContext context;
  rtcInitIntersectContext(&context);
  rtcIntersect1(held_->scene, &context, &r);
  Hit hit;
  if (r.hit.geomID == RTC_INVALID_GEOMETRY_ID) return hit;
  hit.any = true;
  hit.distance = r.ray.tfar;
  hit.thing = r.hit.geomID;
  SurfacePlace& p = hit.place;
  p.place = ray.from + hit.distance * ray.way;
  Vec3 normal{r.hit.Ng_x, r.hit.Ng_y, r.hit.Ng_z};
  if (hit.thing < things_.meshes.size()) {
    const Mesh& mesh = things_.meshes[hit.thing];
    p.material = mesh.material;
    p.tint = mesh.tint;
    const auto& t = mesh.triangles[r.hit.primID];
    const double u = r.hit.u;
    const double v = r.hit.v;
    const double w = 1 - u - v;
    for (std::size_t k = 0; k < 4; ++k) {
      p.attributes[k] = w * mesh.attributes[t[0]][k] +
                        u * mesh.attributes[t[1]][k] +
                        v * mesh.attributes[t[2]][k];
    }
    if (mesh.smooth) {
      normal = w * mesh.normals[t[0]] + u * mesh.normals[t[1]] +
               v * mesh.normals[t[2]];
    }
    p.normal = Normalised(normal);
    if (Dot(p.normal, ray.way) > 0) p.normal = -p.normal;
  } else {
    const Strands& strands = things_.strands[hit.thing - things_.meshes.size()];
    p.material = strands.material;
    p.tint = strands.tint;
    p.shade = strands.shade[r.hit.primID];
    const auto i = strands.starts[r.hit.primID];
    const Vec3 tangent =
        Normalised(strands.knots[i + 1].place - strands.knots[i].place);
    p.attributes = {tangent.x, tangent.y, tangent.z, 0};
    // Of a thread one sees the side that faces the viewer.
    p.normal = Normalised(Dot(ray.way, tangent) * tangent - ray.way);
  }
  return hit;
}

bool Tracer::Blocked(const Ray& ray, double near_mm, double far_mm) const {
  RTCRayHit r = ToEmbree(ray, near_mm, far_mm);
  RTCIntersectContext context;
  rtcInitIntersectContext(&context);
  rtcOccluded1(held_->scene, &context, &r.ray);
  return r.ray.tfar < 0;
}

Material Tracer::MaterialOf(std::uint32_t thing) const {
  return thing < things_.meshes.size()
             ? things_.meshes[thing].material
             : things_.strands[thing - things_.meshes.size()].material;
}

}  // namespace plumbfoot::scenes
