// SPDX-License-Identifier: MIT
// Writing the pictures of a document.
#include "command/pictures.hpp"

#include <iostream>
#include <memory>
#include <system_error>
#include <vector>

#include "report/pictures.hpp"
#include "units/error.hpp"

namespace railtap::command {
namespace {

void create_folder(const std::filesystem::path& folder) {
  std::error_code failure;
  std::filesystem::create_directories(folder, failure);
  if (failure || !std::filesystem::is_directory(folder)) {
    throw Error("the folder for the pictures cannot be created", folder.string(),
                "name a folder in a place that can be written, or a file that ends in .svg");
  }
}

/// All or none of them: a name that is taken is found before the first one is there.
void write_each(const std::vector<report::svg::Plot>& plots, const std::filesystem::path& folder,
                const std::string& stem, files::Overwrite overwrite) {
  create_folder(folder);
  std::vector<std::unique_ptr<files::AtomicFile>> pictures;
  for (const auto& plot : plots) {
    pictures.push_back(
        std::make_unique<files::AtomicFile>(folder / (stem + "-" + plot.id + ".svg"), overwrite));
    pictures.back()->write(report::svg::picture_file({plot}));
  }
  for (const auto& picture : pictures) {
    picture->commit();
    std::cerr << "wrote " << picture->final_path().string() << '\n';
  }
}

}  // namespace

void write_pictures(const system::Json& document, const std::filesystem::path& where,
                    const std::filesystem::path& recording, files::Overwrite overwrite) {
  const auto plots = report::pictures_of(document);
  if (plots.empty()) {
    throw Error("there is nothing to draw", recording.string(),
                "record a steady tone of half a second or more");
  }
  if (where.extension() != ".svg") {
    write_each(plots, where, recording.stem().string(), overwrite);
    return;
  }
  files::write_file(where, report::svg::picture_file(plots), overwrite);
  std::cerr << "wrote " << where.string() << '\n';
}

}  // namespace railtap::command
