#include "eyelet/photo/copper_model.h"

#include <cassert>
#include <cstddef>
#include <cstdint>
#include <cstring>

#include <opencv2/core.hpp>

// The file copper_model.onnx, word for word, in the read-only data of the library.
asm(".section .rodata\n"
    ".balign 16\n"
    ".global eyelet_copper_model_begin\n"
    ".global eyelet_copper_model_end\n"
    "eyelet_copper_model_begin:\n"
    ".incbin \"" EYELET_COPPER_MODEL "\"\n"
    "eyelet_copper_model_end:\n"
    ".byte 0\n"
    ".text\n");
extern "C" const unsigned char eyelet_copper_model_begin[];
extern "C" const unsigned char eyelet_copper_model_end[];

namespace eyelet {

namespace {

// Field numbers and values from the published onnx.proto (ONNX IR version 7) and the wire format of Protocol Buffers.
constexpr std::uint64_t kModelGraph = 7;
constexpr std::uint64_t kGraphInitializer = 5;
constexpr std::uint64_t kTensorType = 2;
constexpr std::uint64_t kTensorRaw = 9;
constexpr std::uint64_t kTypeFloat = 1;
constexpr std::uint64_t kTypeHalf = 10;
enum Wire : std::uint64_t { varint = 0, fixed64 = 1, bytes = 2, fixed32 = 5 };

using Bytes = std::vector<unsigned char>;

struct Field {
    std::uint64_t number = 0;
    std::uint64_t wire = 0;
    std::uint64_t value = 0;                    // of a varint
    const unsigned char* begin = nullptr;       // of the whole field, with its tag
    const unsigned char* content = nullptr;     // of a length-delimited field
    const unsigned char* end = nullptr;
};

std::uint64_t read_varint(const unsigned char*& at) {
    std::uint64_t value = 0;
    for (unsigned shift = 0;; shift += 7) {
        const unsigned char byte = *at++;
        value |= static_cast<std::uint64_t>(byte & 0x7fU) << shift;
        if ((byte & 0x80U) == 0) return value;
    }
}

// The file is our own and built in, so its form is an assertion, not an error.
Field next_field(const unsigned char*& at) {
    Field field;
    field.begin = at;
    const std::uint64_t tag = read_varint(at);
    field.number = tag >> 3U;
    field.wire = tag & 7U;
    switch (field.wire) {
        case Wire::varint: field.value = read_varint(at); break;
        case Wire::fixed64: at += 8; break;
        case Wire::fixed32: at += 4; break;
        default: {
            assert(field.wire == Wire::bytes);
            const std::uint64_t length = read_varint(at);
            field.content = at;
            at += length;
        }
    }
    field.end = at;
    return field;
}

void write_varint(Bytes& out, std::uint64_t value) {
    while (value >= 0x80U) {
        out.push_back(static_cast<unsigned char>(value | 0x80U));
        value >>= 7U;
    }
    out.push_back(static_cast<unsigned char>(value));
}

void write_bytes(Bytes& out, std::uint64_t number, const Bytes& content) {
    write_varint(out, number << 3U | Wire::bytes);
    write_varint(out, content.size());
    out.insert(out.end(), content.begin(), content.end());
}

Bytes widened_raw(const unsigned char* begin, const unsigned char* end) {
    const auto length = static_cast<std::size_t>(end - begin);
    Bytes aligned(begin, end);
    const cv::Mat half(1, static_cast<int>(length / 2), CV_16F, aligned.data());
    cv::Mat single;
    half.convertTo(single, CV_32F);
    Bytes out(length * 2);
    std::memcpy(out.data(), single.data, out.size());
    return out;
}

Bytes widened_tensor(const unsigned char* begin, const unsigned char* end) {
    bool is_half = false;
    for (const unsigned char* at = begin; at != end;) {
        const Field field = next_field(at);
        if (field.number == kTensorType) is_half = field.value == kTypeHalf;
    }
    Bytes out;
    for (const unsigned char* at = begin; at != end;) {
        const Field field = next_field(at);
        if (is_half && field.number == kTensorType) {
            write_varint(out, kTensorType << 3U | Wire::varint);
            write_varint(out, kTypeFloat);
        } else if (is_half && field.number == kTensorRaw) {
            write_bytes(out, kTensorRaw, widened_raw(field.content, field.end));
        } else {
            out.insert(out.end(), field.begin, field.end);
        }
    }
    return out;
}

// Copies a message, with every field `number` put through `change`.
template <class Change>
Bytes rewritten(const unsigned char* begin, const unsigned char* end, std::uint64_t number, const Change& change) {
    Bytes out;
    for (const unsigned char* at = begin; at != end;) {
        const Field field = next_field(at);
        if (field.number == number && field.wire == Wire::bytes) write_bytes(out, number, change(field.content, field.end));
        else out.insert(out.end(), field.begin, field.end);
    }
    return out;
}

}  // namespace

std::vector<unsigned char> copper_model_onnx() {
    return rewritten(eyelet_copper_model_begin, eyelet_copper_model_end, kModelGraph,
                     [](const unsigned char* begin, const unsigned char* end) {
                         return rewritten(begin, end, kGraphInitializer, widened_tensor);
                     });
}

}  // namespace eyelet
