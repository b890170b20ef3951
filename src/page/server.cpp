// SPDX-License-Identifier: MIT
// The page's server on cpp-httplib, which reads requests and writes answers; what is let in, and
// how much of it, is decided here and in admission.cpp.
#include "page/server.hpp"

#include <atomic>
#include <charconv>
#include <csignal>
#include <thread>

#include <httplib.h>
#include <pthread.h>

#include "page/address.hpp"
#include "page/admission.hpp"
#include "page/connection.hpp"
#include "units/error.hpp"

namespace railtap::page {
namespace {

using namespace std::chrono_literals;

// The page takes figures for old after a second without a sign of life: two of them fit into it.
constexpr std::chrono::milliseconds sign_of_life{400};
// More states a second than this cannot be read, and cost a phone's battery.
constexpr std::chrono::milliseconds between_states{20};

constexpr const char* loopback_host = "127.0.0.1";

// What a browser may do with the page: load its own style and script, and talk to where it came
// from [CSP Level 3]; nothing is kept, guessed, framed, or told to others.
httplib::Headers protective_headers() {
  return {{"Content-Security-Policy",
           "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; "
           "img-src data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"},
          {"Cache-Control", "no-store"},
          {"X-Content-Type-Options", "nosniff"},
          {"X-Frame-Options", "DENY"},
          {"Referrer-Policy", "no-referrer"},
          {"Cross-Origin-Resource-Policy", "same-origin"}};
}

// The library's way of reading and writing, on a connection with bounds.
class BoundedStream final : public httplib::Stream {
 public:
  explicit BoundedStream(Connection& connection) : connection_(connection) {}

  bool is_readable() const override { return connection_.has_input(); }
  bool is_writable() const override { return connection_.is_writable(); }
  ssize_t read(char* to, size_t size) override { return connection_.read(to, size); }
  ssize_t write(const char* from, size_t size) override {
    return connection_.write({from, size}) ? static_cast<ssize_t>(size) : -1;
  }
  void get_remote_ip_and_port(std::string&, int&) const override {}
  void get_local_ip_and_port(std::string&, int&) const override {}
  socket_t socket() const override { return connection_.socket(); }

 private:
  Connection& connection_;
};

// Threads as in the library's own pool, and what to do when all of them are busy: there, further
// connections would wait in a queue without end.
class BoundedPool final : public httplib::TaskQueue {
 public:
  BoundedPool() : pool_(most_) {}

  void enqueue(std::function<void()> serve) override {
    if (busy_ >= most_) {
      serve();  // on the accepting thread, where it is turned away
      return;
    }
    ++busy_;
    pool_.enqueue([this, serve = std::move(serve)] {
      serve();
      --busy_;
    });
  }
  void shutdown() override { pool_.shutdown(); }

 private:
  static constexpr std::size_t most_ = Server::most_connections;
  httplib::ThreadPool pool_;
  std::atomic<std::size_t> busy_{0};
};

class HttpServer final : public httplib::Server {
 public:
  explicit HttpServer(const std::atomic<bool>& stopping) : stopping_(stopping) {
    new_task_queue = [this] {
      accepting_ = std::this_thread::get_id();
      return new BoundedPool;  // the library deletes it
    };
  }

 private:
  bool process_and_close_socket(socket_t socket) override {
    Connection connection(socket, stopping_);
    if (std::this_thread::get_id() == accepting_)
      return connection.write(bare_answer("503 Service Unavailable"));
    try {
      return serve(connection);
    } catch (const std::exception&) {
      return false;  // out of memory: this browser goes without, the measurement goes on
    }
  }

  bool serve(Connection& connection) {
    BoundedStream stream(connection);
    bool closed = false;
    // One request to a connection; parts of a file and packing are not offered.
    const bool served = process_request(stream, true, closed, [](httplib::Request& request) {
      request.ranges.clear();
      request.headers.erase("Accept-Encoding");
    });
    if (connection.is_too_long())
      connection.write(bare_answer("431 Request Header Fields Too Large"));
    connection.finish();
    return served;
  }

  static std::string bare_answer(const char* status) {
    return std::string("HTTP/1.1 ") + status + "\r\nContent-Length: 0\r\nConnection: close\r\n\r\n";
  }

  const std::atomic<bool>& stopping_;
  std::thread::id accepting_;
};

std::vector<std::string> fields(const httplib::Request& request, const char* name) {
  std::vector<std::string> all;
  const auto range = request.headers.equal_range(name);
  for (auto field = range.first; field != range.second; ++field) all.push_back(field->second);
  return all;
}

std::optional<std::size_t> content_length(const httplib::Request& request) {
  const auto lengths = fields(request, "Content-Length");
  if (lengths.size() != 1) return std::nullopt;
  std::size_t length = 0;
  const std::string& text = lengths.front();
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), length);
  if (error != std::errc() || end != text.data() + text.size()) return std::nullopt;
  return length;
}

RequestHead head_of(const httplib::Request& request) {
  RequestHead head;
  head.method = request.method;
  head.path = request.path;
  head.host = fields(request, "Host");
  head.origin = fields(request, "Origin");
  head.content_length = content_length(request);
  head.has_transfer_coding = request.has_header("Transfer-Encoding");
  return head;
}

const char* words_of(int status) {
  switch (status) {
    case 403:
      return "This page needs its complete address, as the computer shows it.\n";
    case 404:
      return "There is nothing at this address.\n";
    case 405:
      return "This request is not supported.\n";
    case 409:
      return "This button is no longer there.\n";
    case 411:
      return "The length of the request is missing.\n";
    case 413:
      return "The request is too long.\n";
    case 503:
      return "Too many clients are connected to this page.\n";
    default:
      return "";
  }
}

void refuse(httplib::Response& response, int status) {
  response.status = status;
  response.set_content(words_of(status), "text/plain; charset=utf-8");
}

void send(httplib::Response& response, std::string_view text, const char* type) {
  response.status = 200;
  response.set_content(text.data(), text.size(), type);
}

// One open page.
class Viewer {
 public:
  Viewer(Exchange& exchange, std::atomic<int>& count) : exchange_(exchange), count_(count) {}
  ~Viewer() { --count_; }
  Viewer(const Viewer&) = delete;
  Viewer& operator=(const Viewer&) = delete;

  /// Sends the next event: the latest state, or a sign of life with the age of the one before.
  /// \returns whether there will be more
  bool send_next(httplib::DataSink& sink) {
    if (!greeted_) {
      greeted_ = true;
      // The browser comes back so many milliseconds after a broken connection [HTML, 9.2.6].
      return write(sink, "retry: 1000\n\n");
    }
    std::this_thread::sleep_for(between_states);
    const Exchange::Seen seen = exchange_.wait(version_, sign_of_life);
    if (exchange_.closed() || !sink.is_writable()) return false;
    if (seen.version != version_) {
      version_ = seen.version;
      return write(sink, "data: " + *seen.document + "\n\n");
    }
    return write(sink, "event: age\ndata: " + std::to_string(age_ms(seen)) + "\n\n");
  }

 private:
  static std::int64_t age_ms(const Exchange::Seen& seen) {
    if (seen.version == 0) return 0;
    const auto age = Exchange::Clock::now() - seen.at;
    return std::chrono::duration_cast<std::chrono::milliseconds>(age).count();
  }
  static bool write(httplib::DataSink& sink, const std::string& text) {
    return sink.write(text.data(), text.size());
  }

  Exchange& exchange_;
  std::atomic<int>& count_;
  std::uint64_t version_ = 0;
  bool greeted_ = false;
};

// Signals are the main thread's: a call that one of them interrupts would end the accepting.
class SignalsBlocked {
 public:
  SignalsBlocked() {
    sigset_t all;
    sigfillset(&all);
    pthread_sigmask(SIG_SETMASK, &all, &before_);
  }
  ~SignalsBlocked() { pthread_sigmask(SIG_SETMASK, &before_, nullptr); }
  SignalsBlocked(const SignalsBlocked&) = delete;
  SignalsBlocked& operator=(const SignalsBlocked&) = delete;

 private:
  sigset_t before_{};
};

// The library sets SIGPIPE aside for the whole process; what is sent here asks for none by itself.
std::unique_ptr<HttpServer> make_http(const std::atomic<bool>& stopping) {
  struct sigaction before {};
  sigaction(SIGPIPE, nullptr, &before);
  auto server = std::make_unique<HttpServer>(stopping);
  sigaction(SIGPIPE, &before, nullptr);
  return server;
}

// The library would let another program of the same user share the port.
void reuse_address_only(socket_t socket) {
  const int yes = 1;
  setsockopt(socket, SOL_SOCKET, SO_REUSEADDR, &yes, sizeof yes);
}

}  // namespace

struct Server::Parts {
  std::atomic<bool> stopping{false};
  std::atomic<int> viewers{0};
  bool lan = false;
  std::string host;
  int port = 0;
  std::string address;
  Gate gate;
  Exchange exchange;
  std::unique_ptr<HttpServer> http;
  std::thread thread;

  void open(const ServerRequest& request);
  void bind(const std::optional<int>& wanted);
  void serve();
  void answer(Resource resource, httplib::Response& response);
  void stream_events(httplib::Response& response);
  void take_press(const httplib::Request& request, httplib::Response& response);
};

void Server::Parts::bind(const std::optional<int>& wanted) {
  if (http->bind_to_port(host, wanted.value_or(usual_port))) {
    port = wanted.value_or(usual_port);
    return;
  }
  if (wanted) {
    throw Error("port " + std::to_string(*wanted) + " of " + host + " cannot be used", "--port",
                "leave it out, or give one from 1024 to 65535 that is free");
  }
  port = http->bind_to_any_port(host);
  if (port <= 0)
    throw Error("no port of " + host + " can be used", "--page", "watch without --page");
}

void Server::Parts::open(const ServerRequest& request) {
  lan = request.lan;
  host = lan ? lan_address() : loopback_host;
  http = make_http(stopping);
  http->set_socket_options(reuse_address_only);
  http->set_tcp_nodelay(true);
  http->set_payload_max_length(largest_body);
  http->set_default_headers(protective_headers());
  bind(request.port);
  const std::string end = ":" + std::to_string(port);
  gate = {make_token(), {host + end}, !lan};
  if (!lan) gate.hosts.push_back("localhost" + end);
  address = "http://" + host + end + "/" + gate.token + "/";
}

void Server::Parts::serve() {
  http->set_pre_routing_handler(
      [this](const httplib::Request& request, httplib::Response& response) {
        const Admission admission = admit(head_of(request), gate);
        if (admission.status == 303) {
          response.set_redirect("/" + gate.token + "/", admission.status);
        } else if (admission.status != 200) {
          refuse(response, admission.status);
        } else if (request.method == "POST") {
          return httplib::Server::HandlerResponse::Unhandled;  // the body is read, then take_press
        } else {
          answer(admission.resource, response);
        }
        return httplib::Server::HandlerResponse::Handled;
      });
  http->Post(".*", [this](const httplib::Request& request, httplib::Response& response) {
    take_press(request, response);
  });
  const SignalsBlocked blocked;
  thread = std::thread([this] {
    // Accepting ends by itself where the system was out of something; then once more.
    while (!stopping) {
      http->listen_after_bind();
      if (stopping) return;
      std::this_thread::sleep_for(100ms);
      http->bind_to_port(host, port);
    }
  });
  while (!http->is_running()) std::this_thread::sleep_for(1ms);
}

void Server::Parts::answer(Resource resource, httplib::Response& response) {
  switch (resource) {
    case Resource::page:
      return send(response, page_html(), "text/html; charset=utf-8");
    case Resource::style:
      return send(response, page_css(), "text/css; charset=utf-8");
    case Resource::script:
      return send(response, page_js(), "text/javascript; charset=utf-8");
    case Resource::events:
      return stream_events(response);
    default:
      return refuse(response, 404);
  }
}

void Server::Parts::stream_events(httplib::Response& response) {
  if (++viewers > most_viewers) {
    --viewers;
    return refuse(response, 503);
  }
  response.status = 200;
  auto viewer = std::make_shared<Viewer>(exchange, viewers);
  response.set_content_provider(
      "text/event-stream",
      [viewer](std::size_t, httplib::DataSink& sink) { return viewer->send_next(sink); });
}

// The body: the step's number, a space, and the key's name or the answer.
void Server::Parts::take_press(const httplib::Request& request, httplib::Response& response) {
  const Admission admission = admit(head_of(request), gate);
  const std::string& body = request.body;
  Press press;
  const auto [end, error] = std::from_chars(body.data(), body.data() + body.size(), press.step);
  const auto used = static_cast<std::size_t>(end - body.data());
  if (error != std::errc() || used >= body.size() || body[used] != ' ')
    return refuse(response, 404);
  press.kind = admission.resource == Resource::say ? Press::Kind::answer : Press::Kind::key;
  press.text = body.substr(used + 1);
  switch (exchange.put(std::move(press))) {
    case Taken::yes:
      response.status = 204;
      return;
    case Taken::not_offered:
      return refuse(response, 409);
    case Taken::full:
      return refuse(response, 503);
  }
}

Server::Server(const ServerRequest& request) : parts_(std::make_unique<Parts>()) {
  parts_->open(request);
  parts_->serve();
}

Server::~Server() {
  parts_->stopping = true;
  parts_->exchange.close();
  parts_->http->stop();
  parts_->thread.join();
}

const std::string& Server::address() const {
  return parts_->address;
}

std::string Server::short_address() const {
  if (parts_->lan) return parts_->address;
  return "http://" + parts_->gate.hosts.front() + "/";
}

bool Server::lan() const {
  return parts_->lan;
}

int Server::viewers() const {
  return parts_->viewers;
}

void Server::publish(const PageState& state) {
  parts_->exchange.publish(state);
}

std::optional<Press> Server::take() {
  return parts_->exchange.take();
}

}  // namespace railtap::page
