#include "eyelet/jobs/demo.h"

#include <fmt/format.h>

#include <algorithm>
#include <fstream>
#include <map>
#include <opencv2/imgproc.hpp>
#include <set>

#include "eyelet/exchange/survey.h"
#include "eyelet/jobs/align.h"
#include "eyelet/jobs/follow.h"
#include "eyelet/jobs/import.h"
#include "eyelet/jobs/journal.h"
#include "eyelet/jobs/report.h"
#include "eyelet/jobs/ring_session.h"
#include "eyelet/photo/image.h"
#include "eyelet/synthetic/demo.h"
#include "eyelet/synthetic/meter.h"

namespace eyelet {
namespace {

using report::count_of;

Status write_bytes(const std::filesystem::path& path, const void* data, std::size_t size) {
    std::ofstream out(path, std::ios::binary);
    out.write(static_cast<const char*>(data), static_cast<std::streamsize>(size));
    out.close();
    if (!out) return storage_error(fmt::format("{}: cannot be written; is the disk full?", path.string()));
    return {};
}

Status write_json(const std::filesystem::path& path, const nlohmann::json& json) {
    const std::string text = json.dump(1);
    return write_bytes(path, text.data(), text.size());
}

Status draw_surveys(const synthetic::Demo& demo, const std::filesystem::path& folder, const Watch& watch) {
    std::error_code error;
    std::filesystem::remove_all(folder, error);
    double done = 0;
    for (const synthetic::DemoBoard& board : demo.boards) {
        std::filesystem::create_directories(folder / board.name, error);
        if (error) return storage_error(fmt::format("{}: the folder cannot be made ({})", folder.string(), error.message()));
        std::vector<synthetic::PhotoFile> photos;
        for (Side side : {Side::component, Side::solder}) {
            watch.tell(done / (2.0 * static_cast<double>(demo.boards.size())), fmt::format("drawing {}, {}", board.name, name_of(side)));
            done += 1;
            const synthetic::Photograph photo = synthetic::photograph(board, side);
            const cv::Mat rgb(photo.height, photo.width, CV_8UC3, const_cast<std::uint8_t*>(photo.rgb.data()));
            cv::Mat bgr;
            cv::cvtColor(rgb, bgr, cv::COLOR_RGB2BGR);
            EYELET_ASSIGN(const std::vector<std::byte> jpeg, encode_jpeg(bgr, 92));
            photos.push_back(synthetic::photo_file(std::string(key_of(side)) + ".jpg", photo));
            EYELET_TRY(write_bytes(folder / board.name / photos.back().file, jpeg.data(), jpeg.size()));
        }
        EYELET_TRY(write_json(folder / board.name / "survey.json", synthetic::survey_of(board.worn, board.name, photos, board.ties)));
        EYELET_TRY(write_json(folder / board.name / "truth.json", synthetic::truth_of(board.worn, photos)));
    }
    return write_json(folder / "assembly.json", synthetic::assembly_file(demo.assembly, demo.complaint));
}

Status enter_findings(Store& store, const JobName& job, const synthetic::Demo& demo, const Who& who) {
    for (const synthetic::DemoFinding& found : demo.findings) {
        FindingEntry finding;
        finding.what = found.what;
        finding.text = found.text;
        finding.place.board = BoardName(found.board);
        if (!found.part.empty()) finding.place.parts.emplace_back(found.part);
        if (!found.joint.empty()) finding.place.joints.emplace_back(found.joint);
        const auto entered = add_finding(store, job, finding, who);
        if (!entered.ok()) return entered.error();
    }
    return {};
}

// The imported map names the same joints, perhaps in another order.
std::vector<std::vector<JointIndex>> in_map(const std::vector<std::vector<JointIndex>>& nets, const Assembly& from, const Assembly& to) {
    const auto index = joints_by_name(to);
    std::vector<std::vector<JointIndex>> result;
    for (const std::vector<JointIndex>& net : nets) {
        result.emplace_back();
        for (JointIndex joint : net)
            if (const auto found = index.find(from.joint(joint).name); found != index.end()) result.back().push_back(found->second);
    }
    return result;
}

std::size_t nets_wrong(const std::vector<Net>& nets, const std::vector<std::vector<JointIndex>>& truth, const Assembly& map) {
    std::set<std::set<JointIndex>> known;
    for (const std::vector<JointIndex>& net : truth) {
        std::set<JointIndex> pads;
        for (JointIndex joint : net)
            if (map.joint(joint).kind == JointKind::pad) pads.insert(joint);
        if (!pads.empty()) known.insert(pads);
    }
    return static_cast<std::size_t>(std::count_if(nets.begin(), nets.end(), [&](const Net& net) {
        return known.count(std::set<JointIndex>(net.joints.begin(), net.joints.end())) == 0;
    }));
}

}  // namespace

Result<DemoResult> play_demo(Store& store, const DemoOptions& options, const std::function<void(const std::string&)>& say,
                             const Watch& watch) {
    if (options.width_px < 1000 || options.width_px > 8000) return bad_input("--width: give 1000 to 8000 pixels");
    if (!(options.miss >= 0 && options.miss <= 0.2)) return bad_input("--miss: give a share from 0 to 0.2");
    const synthetic::Demo demo = synthetic::make_demo(options.width_px);
    EYELET_TRY(draw_surveys(demo, options.survey_folder, watch));
    say(fmt::format("Drew unit {} of the {} by {}: {} facing each other, photographed on both sides.", demo.unit, demo.machine, demo.maker,
                    count_of(demo.boards.size(), "board")));

    EYELET_ASSIGN(const Survey survey, read_survey(options.survey_folder / "assembly.json"));
    ImportOptions import;
    import.unit = demo.unit;
    import.complaint = demo.complaint;
    import.condition = demo.condition;
    import.who = options.who;
    EYELET_ASSIGN(const Job job, import_survey(store, survey, import, watch));
    say(fmt::format("Imported the survey as job {}: {}, {}. Complaint: {}", job.name.text(), count_of(survey.assembly.joints.size(), "joint"),
                    count_of(survey.assembly.parts.size(), "part"), demo.complaint));

    EYELET_TRY(enter_findings(store, job.name, demo, options.who));
    for (const synthetic::DemoFinding& finding : demo.findings) say(fmt::format("Found, {}: {}", finding.what, finding.text));

    EYELET_ASSIGN(const AlignSummary aligned, align_job(store, job.name, watch));
    double worst = 0;
    for (const AlignSummary::One& one : aligned.photographs) worst = std::max(worst, one.alignment.rms_mm.value_or(0));
    say(fmt::format("Aligned {}; the worst misfits by {:.3f} mm RMS.", count_of(aligned.photographs.size(), "photograph"), worst));
    for (const AlignSummary::One& one : aligned.photographs)
        for (const StoredAlignment::Misfit& tie : one.alignment.tie_points)
            if (tie.left_out)
                say(fmt::format("The click on {} ({}) is plainly wrong, by {:.1f} mm; it was left out.", tie.joint.text(),
                                name_of(one.photograph.side), tie.misfit_mm));

    FollowOptions follow;
    follow.who = options.who;
    EYELET_ASSIGN(const FollowSummary followed, follow_job(store, job.name, follow, watch));
    say(fmt::format("Followed copper: {} proposed, {} of them likely; from {} copper runs to somewhere unseen.", count_of(followed.links, "link"),
                    followed.links_likely, count_of(followed.leads, "joint")));
    for (const std::string& remark : followed.remarks) say(remark);

    RingSessionOptions ring;
    ring.instrument = "simulated meter";
    ring.lead_ohm = 0.2;
    ring.board_state = "out of the case, unpowered, flat cable plugged in";
    ring.who = options.who;
    EYELET_ASSIGN(const auto session, RingSession::open(store, job.name, ring));
    synthetic::MeterOptions meter_options;
    meter_options.miss = options.miss;
    const auto truth = in_map(demo.nets_worn_with_cable, demo.assembly, session->map());
    synthetic::Meter meter(truth, session->map().joints.size(), meter_options);
    bool confirmed = session->state().proposals_confirmed;
    for (;;) {
        if (watch.stop.stop_requested()) return unavailable("stopped; what was read so far is kept, eyelet ring goes on with it");
        EYELET_ASSIGN(const std::optional<Gesture> gesture, session->next());
        if (!gesture) break;
        if (gesture->kind == Gesture::Kind::touch)
            EYELET_TRY(session->answer(TouchAnswer{meter.read(gesture->hold, gesture->to())}));
        else
            EYELET_TRY(session->answer(SweepAnswer{meter.sweep(gesture->hold, gesture->along)}));
        const RingState& state = session->state();
        const std::size_t floor = state.counts.joints - std::min(state.counts.joints, state.counts.nets);
        watch.tell(floor == 0 ? 1 : std::min(0.99, static_cast<double>(state.counts.links_proven) / static_cast<double>(std::max<std::size_t>(1, floor))),
                   fmt::format("ringing out: {}, {:.2g} mistakes expected to remain", count_of(state.counts.gestures, "gesture"), state.expected_mistakes));
        if (!confirmed && state.proposals_confirmed) {
            confirmed = true;
            say(fmt::format("Every likely proposal confirmed or refuted after {}.", count_of(state.counts.gestures, "gesture")));
        }
    }
    const RingState& state = session->state();
    DemoResult result;
    result.job = job.name;
    result.joints = state.counts.joints;
    result.nets = state.counts.nets;
    result.gestures = state.counts.gestures;
    result.seconds = state.counts.seconds;
    result.misses = meter.misses();
    result.nets_wrong = nets_wrong(state.nets, truth, session->map());
    say(fmt::format("Rang out {} into {} with {} ({} touches, {} sweeps), {:.0f} minutes at the bench by the cost model; the needle missed {}.",
                    count_of(result.joints, "joint"), count_of(result.nets, "net"), count_of(result.gestures, "gesture"), state.counts.touches,
                    state.counts.sweeps, result.seconds / 60, count_of(result.misses, "time")));
    say(fmt::format("{} {} refuted by readings; {:.2g} mistakes expected to remain.", count_of(state.counts.links_refuted, "proposed link"),
                    state.counts.links_refuted == 1 ? "was" : "were", state.expected_mistakes));
    say(result.nets_wrong == 0 ? "The map equals the drawn truth, net for net."
                               : fmt::format("{} from the drawn truth.", count_of(result.nets_wrong, "net") + (result.nets_wrong == 1 ? " differs" : " differ")));
    for (const synthetic::DemoFinding& finding : demo.findings) {
        if (finding.joint.empty()) continue;
        const JointIndex joint = session->map().find_joint(JointName(finding.joint));
        const auto before = std::find_if(demo.nets_sound.begin(), demo.nets_sound.end(), [&](const std::vector<JointIndex>& net) {
            return std::any_of(net.begin(), net.end(), [&](JointIndex j) { return demo.assembly.joint(j).name.text() == finding.joint; });
        });
        if (!joint.valid() || before == demo.nets_sound.end()) continue;
        const Net& now = state.nets[state.joints[joint.raw()].net];
        say(fmt::format("{}: in a sound unit it shares a net with {} more; now with {}. That copper must be rebuilt before the parts go back.",
                        finding.joint, before->size() - 1, now.joints.size() - 1));
    }
    const auto note = add_note(store, job.name,
                               {"Map proven as found. Next: rebuild the lost copper, replace the leaked electrolytics, prove those joints again, and "
                                "try the unit warm: until then the complaint stands."},
                               options.who);
    if (!note.ok()) return note.error();
    if (!options.pdf.empty()) {
        EYELET_ASSIGN(const report::JobReport report, report_of(store, job.name));
        EYELET_TRY(report::write_pdf(report, options.pdf.string()));
        say(fmt::format("Wrote the report: {}", options.pdf.string()));
    }
    return result;
}

}  // namespace eyelet
