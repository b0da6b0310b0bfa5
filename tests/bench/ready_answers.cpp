// SPDX-License-Identifier: Apache-2.0
// Put before a program (LD_PRELOAD), this keeps what OpenCV's networks answer,
// or answers in their place: so that the bench can time all the rest of the
// command by itself. To take the network's time off the whole instead would not
// do: it varies by more than the rest takes.
//
// PLUMBFOOT_ANSWERS names the folder of the answers. With PLUMBFOOT_ASK=1 the
// network is asked, and its answers are put there; without it is not even read,
// and what it was not asked before ends the program.
#include <dlfcn.h>

#include <array>
#include <cstdint>
#include <cstdlib>
#include <cstring>
#include <fstream>
#include <opencv2/dnn/dnn.hpp>
#include <stdexcept>
#include <string>

namespace {

/// The function of the same name in the library itself.
template <typename Function>
Function Real(const void* ours) {
  Dl_info info{};
  if (dladdr(ours, &info) == 0 || info.dli_sname == nullptr) {
    throw std::runtime_error("ready_answers: a function without a name");
  }
  void* real = dlsym(RTLD_NEXT, info.dli_sname);
  if (real == nullptr) throw std::runtime_error(info.dli_sname);
  return reinterpret_cast<Function>(real);
}

template <typename Member>
const void* AddressOf(Member member) {
  const void* address = nullptr;
  std::memcpy(&address, &member, sizeof(address));
  return address;
}

bool NetworkIsAsked() {
  return std::getenv("PLUMBFOOT_ASK") != nullptr;
}

/// FNV-1a over words of eight bytes.
std::uint64_t HashOf(const cv::Mat& blob) {
  std::uint64_t hash = 0xcbf29ce484222325ULL;
  const std::size_t words = blob.total() * blob.elemSize() / 8;
  for (std::size_t i = 0; i < words; ++i) {
    std::uint64_t word = 0;
    std::memcpy(&word, blob.data + 8 * i, 8);
    hash = (hash ^ word) * 0x100000001b3ULL;
  }
  return hash;
}

/// What this thread asked last.
thread_local std::uint64_t asked = 0;

std::string FileOfAnswer() {
  const char* folder = std::getenv("PLUMBFOOT_ANSWERS");
  if (folder == nullptr) throw std::runtime_error("PLUMBFOOT_ANSWERS?");
  return std::string(folder) + "/" + std::to_string(asked);
}

}  // namespace

namespace cv::dnn {
CV__DNN_INLINE_NS_BEGIN

Net readNetFromONNX(const char* buffer, size_t size) {
  using Function = Net (*)(const char*, size_t);
  if (!NetworkIsAsked()) return {};
  const Function ours = readNetFromONNX;
  return Real<Function>(reinterpret_cast<const void*>(ours))(buffer, size);
}

void Net::setInput(InputArray blob,
                   const String& name,
                   double scale,
                   const Scalar& mean) {
  using Function =
      void (*)(Net*, InputArray, const String&, double, const Scalar&);
  asked = HashOf(blob.getMat());
  if (!NetworkIsAsked()) return;
  Real<Function>(AddressOf(&Net::setInput))(this, blob, name, scale, mean);
}

void Net::forward(OutputArrayOfArrays outputs,
                  const std::vector<String>& names) {
  using Function =
      void (*)(Net*, OutputArrayOfArrays, const std::vector<String>&);
  using Member = void (Net::*)(OutputArrayOfArrays, const std::vector<String>&);
  auto& answers = *static_cast<std::vector<Mat>*>(outputs.getObj());
  if (NetworkIsAsked()) {
    const Member ours = &Net::forward;
    Real<Function>(AddressOf(ours))(this, outputs, names);
    std::ofstream file(FileOfAnswer(), std::ios::binary);
    for (const Mat& answer : answers) {
      const int dims = answer.dims;
      file.write(reinterpret_cast<const char*>(&dims), sizeof(dims));
      file.write(reinterpret_cast<const char*>(answer.size.p),
                 dims * static_cast<std::streamsize>(sizeof(int)));
      file.write(reinterpret_cast<const char*>(answer.data),
                 static_cast<std::streamsize>(sizeof(float) * answer.total()));
    }
    return;
  }
  std::ifstream file(FileOfAnswer(), std::ios::binary);
  answers.resize(names.size());
  for (Mat& answer : answers) {
    int dims = 0;
    file.read(reinterpret_cast<char*>(&dims), sizeof(dims));
    if (!file || dims < 1 || dims > 4) {
      throw std::runtime_error("ready_answers: not asked before");
    }
    std::array<int, 4> sizes{};
    file.read(reinterpret_cast<char*>(sizes.data()),
              dims * static_cast<std::streamsize>(sizeof(int)));
    answer.create(dims, sizes.data(), CV_32F);
    file.read(reinterpret_cast<char*>(answer.data),
              static_cast<std::streamsize>(sizeof(float) * answer.total()));
  }
  if (!file) throw std::runtime_error("ready_answers: an answer cut short");
}

CV__DNN_INLINE_NS_END
}  // namespace cv::dnn
