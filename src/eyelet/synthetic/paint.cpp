#include "eyelet/synthetic/paint.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "eyelet/synthetic/bands.h"

namespace eyelet::synthetic {
namespace {

constexpr double kDegree = std::numbers::pi / 180;
using Matrix = std::array<std::array<double, 3>, 3>;

Matrix product(const Matrix& a, const Matrix& b) {
    Matrix c{};
    for (std::size_t i = 0; i < 3; ++i)
        for (std::size_t j = 0; j < 3; ++j)
            for (std::size_t k = 0; k < 3; ++k) c[i][j] += a[i][k] * b[k][j];
    return c;
}

// Turns the board (x right, y down, z away from the camera) into the camera's axes.
Matrix camera_from_board_turn(const Shot& shot) {
    const double x = shot.tilt_x_deg * kDegree;
    const double y = shot.tilt_y_deg * kDegree;
    const double z = shot.turn_deg * kDegree;
    const Matrix about_x{{{1, 0, 0}, {0, std::cos(x), -std::sin(x)}, {0, std::sin(x), std::cos(x)}}};
    const Matrix about_y{{{std::cos(y), 0, std::sin(y)}, {0, 1, 0}, {-std::sin(y), 0, std::cos(y)}}};
    const Matrix about_z{{{std::cos(z), -std::sin(z), 0}, {std::sin(z), std::cos(z), 0}, {0, 0, 1}}};
    return product(about_x, product(about_y, about_z));
}

double eye_distance_mm(const Shot& shot, Size board) {
    return shot.distance_boards * std::max(board.width, board.height);
}

// Where the eye is over the board's surface, in the board's frame.
struct Eye {
    Point foot;
    double height_mm;
};
Eye eye_of(const Shot& shot, Size board) {
    const Matrix r = camera_from_board_turn(shot);
    const double d = eye_distance_mm(shot, board);
    const double mirror = shot.side == Side::component ? 1 : -1;
    return {{board.width / 2 - mirror * d * r[2][0], board.height / 2 - d * r[2][1]}, d * r[2][2]};
}

// Where the board's points of a grid of pixels lie, to be filled in between: exact enough because the map is
// smooth (second differences over 8 pixels are below a hundredth of a pixel at usual tilts).
class BoardFromPhoto {
  public:
    BoardFromPhoto(const Camera& camera, int width, int height)
        : columns_(width / kStep + 2), rows_(height / kStep + 2) {
        for (int row = 0; row < rows_; ++row)
            for (int column = 0; column < columns_; ++column)
                nodes_.push_back(
                    camera.to_board({static_cast<double>(column) * kStep, static_cast<double>(row) * kStep}));
    }
    [[nodiscard]] Point at(int x, int y) const {
        const int column = x / kStep;
        const int row = y / kStep;
        const double fx = static_cast<double>(x % kStep) / kStep;
        const double fy = static_cast<double>(y % kStep) / kStep;
        const Point* top = nodes_.data() + static_cast<std::ptrdiff_t>(row) * columns_ + column;
        const Point* bottom = top + columns_;
        return (1 - fy) * ((1 - fx) * top[0] + fx * top[1]) + fy * ((1 - fx) * bottom[0] + fx * bottom[1]);
    }

  private:
    static constexpr int kStep = 8;
    int columns_;
    int rows_;
    std::vector<Point> nodes_;
};

// The greatest height in and round each tile of the canvas, so that rays over the plain board need no march.
class TallestNear {
  public:
    static constexpr double kTile = 2;  // millimetres

    explicit TallestNear(const Canvas& canvas)
        : columns_(tile(canvas.width / canvas.px_per_mm) + 1),
          rows_(tile(canvas.height / canvas.px_per_mm) + 1) {
        std::vector<std::uint8_t> own(static_cast<std::size_t>(columns_) * static_cast<std::size_t>(rows_),
                                      0);
        for (int y = 0; y < canvas.height; ++y)
            for (int x = 0; x < canvas.width; ++x) {
                std::uint8_t& most = own[index(tile(x / canvas.px_per_mm), tile(y / canvas.px_per_mm))];
                most = std::max(
                    most,
                    canvas.height_100um[static_cast<std::size_t>(y) * static_cast<std::size_t>(canvas.width) +
                                        static_cast<std::size_t>(x)]);
            }
        tallest_ = own;
        for (int row = 0; row < rows_; ++row)
            for (int column = 0; column < columns_; ++column)
                for (int dy = -1; dy <= 1; ++dy)
                    for (int dx = -1; dx <= 1; ++dx)
                        if (inside(column + dx, row + dy))
                            tallest_[index(column, row)] =
                                std::max(tallest_[index(column, row)], own[index(column + dx, row + dy)]);
    }
    // Along the straight way from a to b and within a tile beside it.
    [[nodiscard]] double along_mm(Point a, Point b) const {
        const int steps = 1 + static_cast<int>(distance(a, b) / kTile);
        std::uint8_t most = 0;
        for (int i = 0; i <= steps; ++i) {
            const Point p = a + (static_cast<double>(i) / steps) * (b - a);
            // A step outside still has the board's edge within a tile of it.
            const int column = std::clamp(tile(std::max(0.0, p.x)), 0, columns_ - 1);
            const int row = std::clamp(tile(std::max(0.0, p.y)), 0, rows_ - 1);
            if (p.x < -kTile || p.y < -kTile || p.x > (columns_ + 1) * kTile || p.y > (rows_ + 1) * kTile)
                continue;
            most = std::max(most, tallest_[index(column, row)]);
        }
        return most / 10.0;
    }

  private:
    static int tile(double mm) { return static_cast<int>(mm / kTile); }
    [[nodiscard]] bool inside(int column, int row) const {
        return column >= 0 && row >= 0 && column < columns_ && row < rows_;
    }
    [[nodiscard]] std::size_t index(int column, int row) const {
        return static_cast<std::size_t>(row) * static_cast<std::size_t>(columns_) +
               static_cast<std::size_t>(column);
    }
    int columns_;
    int rows_;
    std::vector<std::uint8_t> tallest_;
};

double height_mm(const Canvas& canvas, Point p) {
    const double x = p.x * canvas.px_per_mm;
    const double y = p.y * canvas.px_per_mm;
    if (x < 0 || y < 0 || x >= canvas.width || y >= canvas.height) return 0;
    return canvas.height_100um[static_cast<std::size_t>(y) * static_cast<std::size_t>(canvas.width) +
                               static_cast<std::size_t>(x)] /
           10.0;
}

// Share of the lamp that parts take away, at 8 cells a millimetre.
class Shadow {
  public:
    Shadow(const Canvas& canvas, Point to_lamp, double elevation_deg)
        : width_(static_cast<int>(canvas.width / canvas.px_per_mm * kCells) + 1),
          height_(static_cast<int>(canvas.height / canvas.px_per_mm * kCells) + 1) {
        std::vector<float> hard(static_cast<std::size_t>(width_) * static_cast<std::size_t>(height_), 0);
        const double rise = std::tan(elevation_deg * kDegree);
        in_bands(height_, [&](int first, int last) {
            for (int row = first; row < last; ++row)
                for (int column = 0; column < width_; ++column) {
                    const Point p{(column + 0.5) / kCells, (row + 0.5) / kCells};
                    const double here = height_mm(canvas, p);
                    for (double t = 0.2; here + t * rise < 25.5; t += 0.2)
                        if (height_mm(canvas, p + t * to_lamp) > here + t * rise + 0.1) {
                            hard[index(column, row)] = 1;
                            break;
                        }
                }
        });
        soft_ = hard;
        constexpr int kReach = 2;  // the lamp is no point: a quarter of a millimetre of half shadow
        for (int row = kReach; row + kReach < height_; ++row)
            for (int column = kReach; column + kReach < width_; ++column) {
                float sum = 0;
                for (int dy = -kReach; dy <= kReach; ++dy)
                    for (int dx = -kReach; dx <= kReach; ++dx) sum += hard[index(column + dx, row + dy)];
                soft_[index(column, row)] = sum / ((2 * kReach + 1) * (2 * kReach + 1));
            }
    }
    [[nodiscard]] float at(Point p) const {
        const double x = std::clamp(p.x * kCells - 0.5, 0.0, width_ - 1.001);
        const double y = std::clamp(p.y * kCells - 0.5, 0.0, height_ - 1.001);
        const auto column = static_cast<int>(x);
        const auto row = static_cast<int>(y);
        const auto fx = static_cast<float>(x - column);
        const auto fy = static_cast<float>(y - row);
        const int right = std::min(column + 1, width_ - 1);
        const int below = std::min(row + 1, height_ - 1);
        return (1 - fy) * ((1 - fx) * soft_[index(column, row)] + fx * soft_[index(right, row)]) +
               fy * ((1 - fx) * soft_[index(column, below)] + fx * soft_[index(right, below)]);
    }

  private:
    static constexpr double kCells = 8;
    [[nodiscard]] std::size_t index(int column, int row) const {
        return static_cast<std::size_t>(row) * static_cast<std::size_t>(width_) +
               static_cast<std::size_t>(column);
    }
    int width_;
    int height_;
    std::vector<float> soft_;
};

Colour sample(const Canvas& canvas, Point p) {
    const double x = std::clamp(p.x * canvas.px_per_mm - 0.5, 0.0, canvas.width - 1.001);
    const double y = std::clamp(p.y * canvas.px_per_mm - 0.5, 0.0, canvas.height - 1.001);
    const auto column = static_cast<int>(x);
    const auto row = static_cast<int>(y);
    const auto fx = static_cast<float>(x - column);
    const auto fy = static_cast<float>(y - row);
    const std::uint8_t* a =
        canvas.rgb.data() + 3 * (static_cast<std::size_t>(row) * static_cast<std::size_t>(canvas.width) +
                                 static_cast<std::size_t>(column));
    const std::uint8_t* b = a + 3 * static_cast<std::size_t>(canvas.width);
    float out[3];
    for (int k = 0; k < 3; ++k)
        out[k] = ((1 - fy) * ((1 - fx) * static_cast<float>(a[k]) + fx * static_cast<float>(a[k + 3])) +
                  fy * ((1 - fx) * static_cast<float>(b[k]) + fx * static_cast<float>(b[k + 3]))) /
                 255;
    return {out[0], out[1], out[2]};
}

Colour scaled(Colour a, float k) {
    return {a.red * k, a.green * k, a.blue * k};
}

std::uint8_t byte(float value) {
    return static_cast<std::uint8_t>(std::clamp(value, 0.0F, 1.0F) * 255.0F + 0.5F);
}

// Gaussian blur of the whole picture, rows then columns.
void blur(Photograph& photo, double deviation_px) {
    if (deviation_px < 0.15) return;
    const int reach = std::max(1, static_cast<int>(std::ceil(2.5 * deviation_px)));
    std::vector<int> weights;
    int sum = 0;
    for (int i = -reach; i <= reach; ++i) {
        weights.push_back(
            static_cast<int>(std::lround(4096 * std::exp(-0.5 * i * i / (deviation_px * deviation_px)))));
        sum += weights.back();
    }
    std::vector<std::uint8_t> across(photo.rgb.size());
    const int width = photo.width;
    const int height = photo.height;
    in_bands(height, [&](int first, int last) {
        for (int row = first; row < last; ++row) {
            const std::uint8_t* in =
                photo.rgb.data() + static_cast<std::size_t>(row) * static_cast<std::size_t>(width) * 3;
            std::uint8_t* out =
                across.data() + static_cast<std::size_t>(row) * static_cast<std::size_t>(width) * 3;
            for (int x = 0; x < width; ++x)
                for (int k = 0; k < 3; ++k) {
                    int total = sum / 2;
                    for (int i = -reach; i <= reach; ++i)
                        total += weights[static_cast<std::size_t>(i + reach)] *
                                 in[3 * std::clamp(x + i, 0, width - 1) + k];
                    out[3 * x + k] = static_cast<std::uint8_t>(total / sum);
                }
        }
    });
    in_bands(height, [&](int first, int last) {
        for (int row = first; row < last; ++row) {
            std::uint8_t* out =
                photo.rgb.data() + static_cast<std::size_t>(row) * static_cast<std::size_t>(width) * 3;
            for (int x = 0; x < 3 * width; ++x) {
                int total = sum / 2;
                for (int i = -reach; i <= reach; ++i)
                    total += weights[static_cast<std::size_t>(i + reach)] *
                             across[static_cast<std::size_t>(std::clamp(row + i, 0, height - 1)) *
                                        static_cast<std::size_t>(width) * 3 +
                                    static_cast<std::size_t>(x)];
                out[x] = static_cast<std::uint8_t>(total / sum);
            }
        }
    });
}

void add_noise(Photograph& photo, double deviation, std::uint64_t seed) {
    if (deviation <= 0) return;
    in_bands(photo.height, [&](int first, int last) {
        for (int row = first; row < last; ++row)
            for (int x = 0; x < photo.width; ++x) {
                // Four 16-bit numbers of one draw; a sum of two is near enough to a bell.
                const auto draw = static_cast<std::uint64_t>(grain(x, row, seed) * 0x1.0p53);
                const std::uint64_t other = draw * 0x9E3779B97F4A7C15ULL;
                const auto part = [](std::uint64_t z, int k) {
                    return static_cast<float>(z >> (16 * k) & 0xFFFFU) / 65536.0F;
                };
                const float shared = 2.45F * (part(other, 2) + part(other, 3) - 1);
                std::uint8_t* pixel = photo.rgb.data() + 3 * (static_cast<std::size_t>(row) *
                                                                  static_cast<std::size_t>(photo.width) +
                                                              static_cast<std::size_t>(x));
                for (int k = 0; k < 3; ++k) {
                    const float own = 2.45F * (part(draw, k % 3) + part(other, k % 2) - 1);
                    const float value = static_cast<float>(pixel[k]) / 255;
                    // Dark parts of a photograph are noisier after its gamma.
                    const float strength = static_cast<float>(deviation) * (1.4F - 0.8F * value);
                    pixel[k] = byte(value + strength * (0.75F * shared + 0.5F * own));
                }
            }
    });
}

}  // namespace

double px_per_mm(const Shot& shot, Size board) {
    const double turn = std::abs(shot.turn_deg) * kDegree;
    const double across = board.width * std::cos(turn) + board.height * std::sin(turn);
    const double down = board.height * std::cos(turn) + board.width * std::sin(turn);
    return shot.fill * std::min(shot.width_px / across, shot.height_px / down);
}

Camera camera_of(const Shot& shot, Size board) {
    const Matrix r = camera_from_board_turn(shot);
    const double d = eye_distance_mm(shot, board);
    const double focal_px = px_per_mm(shot, board) * d;
    const double mirror = shot.side == Side::component ? 1 : -1;
    Camera camera;
    camera.centre_px = {(shot.width_px - 1) / 2.0, (shot.height_px - 1) / 2.0};
    camera.radius_px = std::hypot(shot.width_px, shot.height_px) / 2;
    camera.k1 = shot.k1;
    double rows[3][3];  // camera coordinates of (x, y, 1)
    for (std::size_t i = 0; i < 3; ++i) {
        rows[i][0] = mirror * r[i][0];
        rows[i][1] = r[i][1];
        rows[i][2] = -mirror * r[i][0] * board.width / 2 - r[i][1] * board.height / 2 + (i == 2 ? d : 0.0);
    }
    for (std::size_t j = 0; j < 3; ++j) {
        camera.photo_from_board[j] = focal_px * rows[0][j] + camera.centre_px.x * rows[2][j];
        camera.photo_from_board[3 + j] = focal_px * rows[1][j] + camera.centre_px.y * rows[2][j];
        camera.photo_from_board[6 + j] = rows[2][j];
    }
    const double last = camera.photo_from_board[8];
    for (double& value : camera.photo_from_board) value /= last;
    return camera;
}

Photograph take(const Layout& layout, const Layers& layers, const Paint& paint, const Shot& shot) {
    const Size board = layout.assembly.boards[0].size_mm;
    const Canvas canvas = compose(layout, layers, paint, shot.side);
    const TallestNear tallest(canvas);
    const double lamp = paint.light_from_deg * kDegree;
    const Point to_lamp{std::cos(lamp), -std::sin(lamp)};
    const Shadow shadow(canvas, to_lamp, shot.lamp_elevation_deg);
    const Eye eye = eye_of(shot, board);

    Photograph photo;
    photo.side = shot.side;
    photo.width = shot.width_px;
    photo.height = shot.height_px;
    photo.camera = camera_of(shot, board);
    photo.rgb.resize(static_cast<std::size_t>(shot.width_px) * static_cast<std::size_t>(shot.height_px) * 3);
    photo.surface_seen =
        static_cast<double>(std::count(canvas.height_100um.begin(), canvas.height_100um.end(), 0)) /
        static_cast<double>(canvas.height_100um.size());

    const BoardFromPhoto board_from_photo(photo.camera, shot.width_px, shot.height_px);
    const int run = std::max(1, static_cast<int>(0.5 * TallestNear::kTile * px_per_mm(shot, board)));
    const double radius = std::max(board.width, board.height) / 2;
    in_bands(photo.height, [&](int first, int last) {
        double most = 0;
        for (int y = first; y < last; ++y)
            for (int x = 0; x < photo.width; ++x) {
                const Point ground = board_from_photo.at(x, y);
                const Point lean =
                    (1 / eye.height_mm) * (eye.foot - ground);  // of the ray, per millimetre of height
                Colour colour;
                Point hit = ground;
                bool found = false;
                // One answer serves a run of pixels shorter than half a tile.
                if (x % run == 0) most = tallest.along_mm(ground, ground + 25.5 * lean);
                if (most > 0) {
                    const int steps =
                        std::clamp(static_cast<int>(most * length(lean) * canvas.px_per_mm) + 1, 2, 400);
                    for (int i = steps; i > 0; --i) {
                        const double h = most * i / steps;
                        const Point p = ground + h * lean;
                        const double there = height_mm(canvas, p);
                        if (there < h) continue;
                        hit = p;
                        colour = sample(canvas, p);
                        if (there - h > 1.6 * most / steps) {
                            // A side wall: it looks towards the eye's foot, and its colour is that of the
                            // body a little further in, not of the very edge.
                            const Point outward = (1 / std::max(1e-9, length(lean))) * lean;
                            colour = sample(canvas, p - 0.3 * outward);
                            const double facing = dot(to_lamp, outward);
                            colour = scaled(colour, static_cast<float>(0.62 + 0.16 * facing));
                        } else {
                            colour = scaled(colour, 1 - 0.5F * shadow.at(p));
                        }
                        found = true;
                        break;
                    }
                }
                if (!found) {
                    const bool on_board =
                        ground.x >= 0 && ground.y >= 0 && ground.x < board.width && ground.y < board.height;
                    if (on_board) {
                        colour = scaled(sample(canvas, ground), 1 - 0.5F * shadow.at(ground));
                    } else {
                        // The bench: a grey mat with some texture and the board's own shadow.
                        const auto rough =
                            static_cast<float>(0.06 * soft_noise(ground.x * 2.1 + ground.y * 1.3,
                                                                 ground.y * 2.1 - ground.x * 1.3, shot.seed) +
                                               0.05 * soft_noise(ground.x / 6, ground.y / 6, shot.seed + 1));
                        colour = {0.40F + rough, 0.40F + rough, 0.385F + rough};
                        const Point back = ground + 2.5 * to_lamp;
                        const double out =
                            std::max({-back.x, -back.y, back.x - board.width, back.y - board.height});
                        colour = scaled(colour,
                                        1 - 0.55F * static_cast<float>(std::clamp(1 - out / 1.5, 0.0, 1.0)));
                    }
                }
                const Point from_middle = (1 / radius) * (hit - Point{board.width / 2, board.height / 2});
                const Point in_frame =
                    (1 / photo.camera.radius_px) *
                    (Point{static_cast<double>(x), static_cast<double>(y)} - photo.camera.centre_px);
                const auto light = static_cast<float>(shot.exposure *
                                                      (1 + shot.lamp_unevenness * dot(from_middle, to_lamp)) *
                                                      (1 - shot.vignetting * dot(in_frame, in_frame)));
                std::uint8_t* pixel = photo.rgb.data() + 3 * (static_cast<std::size_t>(y) *
                                                                  static_cast<std::size_t>(photo.width) +
                                                              static_cast<std::size_t>(x));
                pixel[0] = byte(colour.red * light * shot.tint.red);
                pixel[1] = byte(colour.green * light * shot.tint.green);
                pixel[2] = byte(colour.blue * light * shot.tint.blue);
            }
    });
    blur(photo, shot.blur_px);
    add_noise(photo, shot.noise, shot.seed);
    return photo;
}

}  // namespace eyelet::synthetic
