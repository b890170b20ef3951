// SPDX-License-Identifier: MIT
// `railtap demo`: the whole job on the virtual rig, without hardware.
#include <iostream>
#include <memory>
#include <string>

#include "command/command.hpp"
#include "command/demo_bench.hpp"
#include "command/demo_flow.hpp"
#include "command/demo_folder.hpp"
#include "report/demo.hpp"

namespace railtap::command {
namespace {

struct DemoOptions {
  std::string folder = "railtap-demo";
  std::string rig;
  bool force = false;
  bool json = false;
};

constexpr std::size_t longest_description = 1U << 20U;

ExitStatus run(const DemoOptions& options, const std::string& program) {
  const std::string place = options.rig.empty() ? "camper_van.toml" : options.rig;
  const std::string text = options.rig.empty() ? std::string(rig::camper_van_text())
                                               : files::read_file(options.rig, longest_description);
  const Bench bench = make_bench(rig::parse_rig(text, place));
  const DemoFolder folder = open_demo_folder(
      options.folder, options.force ? files::Overwrite::allow : files::Overwrite::refuse);
  files::write_file(folder.root / "rig.toml", text, folder.overwrite);
  const report::DemoDocument document = run_demo(bench, folder, std::cerr);
  const std::string json = report::demo_json(document).line() + "\n";
  files::write_file(folder.result("setup"), json, folder.overwrite);
  std::cout << (options.json ? json : report::demo_text(document, program));
  return document.within_limits ? ExitStatus::within_limits : ExitStatus::outside_limits;
}

}  // namespace

Command demo_command(const std::string& program) {
  auto options = std::make_shared<DemoOptions>();
  Command command("demo", "Do the whole job once on a virtual rig, without hardware");
  command.text("DIR", options->folder, "Folder for tones, recordings and results")
      .defaulting_to(options->folder);
  command.text("--rig", options->rig, "Description of another rig (TOML, see docs/rig.md)")
      .called("FILE");
  command.flag("--force", options->force, "Overwrite what an earlier demo wrote there");
  command.flag("--json", options->json, "Print one JSON document (railtap.demo/1)");
  command.footer =
      "Example:\n"
      "  railtap demo my-first-demo\n"
      "Exit status: 0 every channel is clean and at its target, 1 one is not, 2 could not do it.";
  command.run = [options, program] { return run(*options, program); };
  return command;
}

}  // namespace railtap::command
