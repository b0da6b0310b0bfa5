// SPDX-License-Identifier: Apache-2.0
/// @file
/// The painter: a shared library with a C door, for painter.py.
///   GPU: nvcc -O3 --use_fast_math -arch=sm_90 -shared -Xcompiler -fPIC
///   CPU: g++ -x c++ -O3 -ffast-math -fopenmp -shared -fPIC
#include "draw_lots.h"
#include "paint.h"

namespace {

using scene::Painted;
using scene::Scene;

HD uint8_t Byte(float v) {
  return static_cast<uint8_t>(scene::Clamp(v * 255.0f + 0.5f, 0.0f, 255.0f));
}

/// @param picture n x 9 x size x size bytes: red, green, blue, part, marks,
///   shade, and the normal's three numbers (0..255 for -1..1).
HD void Paint(const Scene& s,
              int size,
              int x,
              int y,
              uint8_t* picture,
              scene::Reachable near = {}) {
  const float half = 0.5f * static_cast<float>(size);
  const Painted p = scene::PaintPixel(s,
                                      static_cast<float>(x) + 0.5f - half,
                                      static_cast<float>(y) + 0.5f - half,
                                      near);
  const size_t area = static_cast<size_t>(size) * static_cast<size_t>(size);
  uint8_t* at = picture + static_cast<size_t>(y) * static_cast<size_t>(size) +
                static_cast<size_t>(x);
  at[0] = Byte(p.r);
  at[area] = Byte(p.g);
  at[2 * area] = Byte(p.b);
  at[3 * area] = static_cast<uint8_t>(p.part);
  at[4 * area] = static_cast<uint8_t>(p.marks);
  at[5 * area] = Byte(p.shade);
  at[6 * area] = Byte(0.5f + 0.5f * p.normal.x);
  at[7 * area] = Byte(0.5f + 0.5f * p.normal.y);
  at[8 * area] = Byte(0.5f + 0.5f * p.normal.z);
}

#ifndef PAINT_BLOCKS
#define PAINT_BLOCKS 5
#endif
#ifdef __CUDACC__
__global__ void __launch_bounds__(128, PAINT_BLOCKS)
    PaintAll(const Scene* scenes, int size, uint8_t* pictures) {
  // The scene is read by every step of every ray: keep it close.
  __shared__ Scene s;
  const int threads = blockDim.x * blockDim.y;
  const int me = threadIdx.y * blockDim.x + threadIdx.x;
  const int* from = reinterpret_cast<const int*>(scenes + blockIdx.z);
  int* to = reinterpret_cast<int*>(&s);
  for (int i = me; i < static_cast<int>(sizeof(Scene) / 4); i += threads)
    to[i] = from[i];
  __shared__ int list[scene::kMaxThings];
  __shared__ int count;
  if (me == 0) count = 0;
  __syncthreads();
  // Only the things that this block's rays can meet.
  if (me < s.things) {
    const float half = 0.5f * static_cast<float>(size);
    const float u = (blockIdx.x + 0.5f) * blockDim.x - half,
                v = (blockIdx.y + 0.5f) * blockDim.y - half;
    const scene::V3 axis =
        Unit(PlanePoint(s, u * s.mm_per_px, v * s.mm_per_px) - s.camera);
    const scene::V3 corner =
        Unit(PlanePoint(s,
                        (u + 0.5f * blockDim.x) * s.mm_per_px,
                        (v + 0.5f * blockDim.y) * s.mm_per_px) -
             s.camera);
    scene::V3 middle;
    const float r = BallRound(s.thing[me], &middle);
    const scene::V3 to = middle - s.camera;
    const float far = Length(to);
    // CHOSEN: half as wide again, since the window is seen aslant.
    const float wide = 1.5f * acosf(fminf(Dot(axis, corner), 1.0f));
    if (far <= r || acosf(scene::Clamp(Dot(to, axis) / far, -1, 1)) <
                        asinf(fminf(r / far, 1.0f)) + wide + 1e-3f) {
      list[atomicAdd(&count, 1)] = me;
    }
  }
  __syncthreads();
  const int x = blockIdx.x * blockDim.x + threadIdx.x;
  const int y = blockIdx.y * blockDim.y + threadIdx.y;
  if (x >= size || y >= size) return;
  const size_t area = static_cast<size_t>(size) * static_cast<size_t>(size);
  Paint(s, size, x, y, pictures + 9 * area * blockIdx.z, {list, count});
}
#endif

}  // namespace

extern "C" {

int scene_bytes() {
  return static_cast<int>(sizeof(Scene));
}
int label_floats() {
  return static_cast<int>(sizeof(scene::Labels) / 4);
}

/// Draws n scenes; views[i] is 0 (solar) or 1 (lateral) and more with the bits
/// of scene::Wish. Host memory.
void draw_scenes(const uint64_t* seeds,
                 const int* views,
                 int n,
                 int size,
                 void* scenes,
                 float* labels) {
  for (int i = 0; i < n; ++i) {
    scene::DrawScene(seeds[i],
                     views[i],
                     size,
                     static_cast<Scene*>(scenes) + i,
                     reinterpret_cast<scene::Labels*>(labels) + i);
  }
}

/// Paints n scenes. On the GPU both pointers are device memory, and stream is a
/// CUDA stream. @return 0, or CUDA's error.
int paint_scenes(
    const void* scenes, int n, int size, uint8_t* pictures, void* stream) {
#ifdef __CUDACC__
  const dim3 block(16, 8), grid((size + 15) / 16, (size + 7) / 8, n);
  PaintAll<<<grid, block, 0, static_cast<cudaStream_t>(stream)>>>(
      static_cast<const Scene*>(scenes), size, pictures);
  return static_cast<int>(cudaGetLastError());
#else
  (void)stream;
  const size_t area = static_cast<size_t>(size) * static_cast<size_t>(size);
  for (int i = 0; i < n; ++i) {
#pragma omp parallel for schedule(dynamic)
    for (int y = 0; y < size; ++y) {
      for (int x = 0; x < size; ++x) {
        Paint(static_cast<const Scene*>(scenes)[i],
              size,
              x,
              y,
              pictures + 9 * area * static_cast<size_t>(i));
      }
    }
  }
  return 0;
#endif
}

}  // extern "C"
