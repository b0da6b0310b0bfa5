// SPDX-License-Identifier: Apache-2.0
#include <fmt/core.h>
#include <signal.h>
#include <unistd.h>

#include <cstdio>
#include <memory>
#include <string>
#include <vector>

#include "cli/clock.h"
#include "cli/commands.h"
#include "cli/horse_history.h"
#include "cli/scale_words.h"
#include "cli/settings.h"
#include "plumbfoot/casebook/casebook.h"
#include "plumbfoot/photo/read_file.h"
#include "plumbfoot/serve/server.h"

namespace plumbfoot::cli {
namespace {

struct ServeWords {
  std::string casebook;
  int port = 8437;
  bool lan = false;
  ScaleWords scale;
};

/// Where the page is, and the code that opens it once.
void Tell(const std::vector<std::string>& addresses,
          const std::string& code,
          bool qr) {
  for (const std::string& address : addresses) {
    fmt::print("{}/?code={}\n", address, code);
  }
  if (qr && !addresses.empty()) {
    fmt::print("{}",
               serve::QrForTerminal(addresses.front() + "/?code=" + code));
  }
  std::fflush(stdout);
}

ExitStatus RunServe(const ServeWords& words) {
  auto casebook = casebook::OpenCasebook(words.casebook);
  if (!casebook && casebook.error().code == RefusalCode::kFileMissing) {
    casebook = casebook::MakeCasebook(words.casebook);
    if (casebook) fmt::print("A new casebook was made: {}\n", words.casebook);
  }
  if (!casebook) return Refuse(casebook.error());
  serve::SiteOptions options;
  auto scale = ScaleFrom(words.scale);
  if (!scale) return Refuse(scale.error());
  options.scale = std::move(*scale);
  if (!words.scale.layout.empty()) {
    const auto layout = photo::ReadBytes(words.scale.layout);
    if (!layout) return Refuse(layout.error());
    options.layout_sha256 = photo::Sha256(*layout);
  }
  const auto settings = LoadSettings(SettingsPath());
  if (!settings) return Refuse(settings.error());
  options.practice = {settings->practice, settings->telephone};
  options.today = Today;
  options.now = Now;

  // Whoever ends it by a signal ends it in order. Before the first thread.
  sigset_t ends{};
  ::sigemptyset(&ends);
  ::sigaddset(&ends, SIGINT);
  ::sigaddset(&ends, SIGTERM);
  ::pthread_sigmask(SIG_BLOCK, &ends, nullptr);
  ::signal(SIGPIPE, SIG_IGN);

  serve::ServerOptions socket;
  socket.port = static_cast<std::uint16_t>(words.port);
  socket.lan = words.lan;
  auto server = serve::Server::Listen(socket);
  if (!server) return Refuse(server.error());
  const std::string port = ":" + std::to_string(server->port());
  std::vector<std::string> names = {"127.0.0.1", "localhost"};
  std::vector<std::string> addresses;
  if (words.lan) {
    for (const std::string& address : serve::LanAddresses()) {
      names.insert(names.begin(), address);
      addresses.push_back("http://" + address + port);
    }
    options.addresses = addresses;
  }
  for (const std::string& name : names) options.hosts.push_back(name + port);
  addresses.push_back("http://127.0.0.1" + port);
  const bool qr = words.lan && addresses.size() > 1;
  options.new_code = [addresses, qr](const std::string& code) {
    fmt::print("\nSomebody came in. For the next one:\n");
    Tell(addresses, code, qr);
  };
  serve::Site site(*casebook, options);
  if (auto serving = server->Serve(site); !serving) {
    return Refuse(serving.error());
  }
  fmt::print("{}\n",
             words.lan
                 ? "Open this, on this machine or on a phone in the same "
                   "network. It is not encrypted: use a network of your own. "
                   "The code opens it once; Ctrl-C ends it."
                 : "Open this on this machine. The code opens it once; Ctrl-C "
                   "ends it.");
  Tell(addresses, site.Code(), qr);
  int signal = 0;
  ::sigwait(&ends, &signal);
  fmt::print("\nClosed. What was said so far is in the casebook.\n");
  // Before the site, which it answers from.
  { const serve::Server closing = std::move(*server); }
  return ExitStatus::kDone;
}

}  // namespace

void AddServe(CLI::App& program, Action& action) {
  auto words = std::make_shared<ServeWords>();
  CLI::App* command = program.add_subcommand(
      "serve",
      "The page in the browser: take photos, check the points, see the case");
  command
      ->add_option("CASEBOOK", words->casebook, "Its folder; made if missing")
      ->type_name("")
      ->required();
  command
      ->add_option("--port", words->port, "Where to listen (8437; 0: any free)")
      ->check(CLI::Range(0, 65535))
      ->type_name("N");
  command->add_flag("--lan",
                    words->lan,
                    "Also for phones in this network (else this machine only); "
                    "shows a QR code");
  AddScaleOptions(*command, words->scale);
  command->footer(
      "Exit status: 0 ended by Ctrl-C, 1 used wrongly, 2 the casebook can't be "
      "used,\n4 the surroundings (port taken, folder not writable), 70 a fault "
      "in Plumbfoot.");
  command->callback(
      [words, &action] { action = [words] { return RunServe(*words); }; });
}

}  // namespace plumbfoot::cli
