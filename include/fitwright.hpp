/*
 * fitwright.hpp: the C interface of Fitwright for C++11 and later. fitwright.h is the manual; here are owners,
 * errors, spans and callbacks. No library is needed beside libfitwright.
 *
 * Owners     Context, Scan, Region, Fit, Noise, Feature, Survey, Datum, Join, Adjustment, Merged, Part, Check, Job, Outcome, Text: move
 *            only, released when destroyed, in any order. Each keeps its context alive. One that was moved from
 *            gives FITW_E_HANDLE or FITW_E_ARGUMENT, never a crash. get() is the handle of the C interface.
 *
 * Errors     Thrown as fitwright::Error: status(), what(), place(). With FITWRIGHT_RESULTS defined before the
 *            include, nothing is thrown and every call returns Result<T>: `if (auto scan = context.scan(mesh))
 *            use(*scan); else log(scan.error());`. Out<T> stands for T or Result<T>. Compiles with
 *            -fno-exceptions then.
 *
 * Structs    Plain results (fitw_shape, fitw_quality …) are those of the C interface; sized<T>() makes one
 *            for use as options. Their fitw_str are read by str(…) while the owner they came from lives.
 *
 * Spans      Span<T> is std::span from C++20 on, else a small one of its own. Coordinates are x, y, z side by
 *            side. Spans that come back live as long as the owner that gave them.
 *
 * Callbacks  A progress callback returns false to cancel. What a callback throws is caught: the call is
 *            cancelled, and the exception thrown again where it was called (with FITWRIGHT_RESULTS: dropped).
 *            A context stays cancelled until resume().
 *
 * Threads    As in C. Threads that share a context share its last error: a message may then be missing; the
 *            status is always right. Give each thread its own context and let handles change it with use().
 */
#ifndef FITWRIGHT_HPP
#define FITWRIGHT_HPP

#include <fitwright.h>

#include <array>
#include <cstdlib>
#include <exception>
#include <functional>
#include <list>
#include <map>
#include <memory>
#include <mutex>
#include <stdexcept>
#include <string>
#include <utility>
#include <vector>

#if defined(_MSVC_LANG)
#define FITWRIGHT_CPLUSPLUS _MSVC_LANG
#else
#define FITWRIGHT_CPLUSPLUS __cplusplus
#endif

#if FITWRIGHT_CPLUSPLUS >= 202002L
#include <span>
#endif

#if defined(__cpp_exceptions) || defined(__EXCEPTIONS) || defined(_CPPUNWIND)
#define FITWRIGHT_TRY try
#define FITWRIGHT_CATCH_ALL catch (...)
#define FITWRIGHT_CURRENT std::current_exception()
#else
#ifndef FITWRIGHT_RESULTS
#error "without exceptions, define FITWRIGHT_RESULTS"
#endif
#define FITWRIGHT_TRY if (true)
#define FITWRIGHT_CATCH_ALL else
#define FITWRIGHT_CURRENT std::exception_ptr()
#endif

namespace fitwright {

/* Files compiled with other choices may be linked into one program: their names differ. */
#if defined(FITWRIGHT_RESULTS) && FITWRIGHT_CPLUSPLUS >= 202002L
inline namespace results_std {
#elif defined(FITWRIGHT_RESULTS)
inline namespace results {
#elif FITWRIGHT_CPLUSPLUS >= 202002L
inline namespace throwing_std {
#else
inline namespace throwing {
#endif

/* x, y, z: a place in mm, or a direction. */
using Point = std::array<double, 3>;

/* ---- SPAN, TEXT, STRUCT ---------------------------------------------------------------------------------- */

#if FITWRIGHT_CPLUSPLUS >= 202002L
template <class T> using Span = std::span<T>;
#else
/* Elements that lie side by side and belong to another. */
template <class T> class Span {
  public:
    Span() noexcept : data_(nullptr), size_(0) {}
    Span(T *data, std::size_t size) noexcept : data_(data), size_(size) {}
    template <std::size_t N> Span(T (&array)[N]) noexcept : data_(array), size_(N) {}
    /* Anything with data() and size(): vector, array, string. */
    template <class C, class = decltype(static_cast<T *>(std::declval<C &>().data())),
              class = decltype(std::declval<C &>().size())>
    Span(C &&container) noexcept : data_(container.data()), size_(container.size()) {}

    T *data() const noexcept { return data_; }
    std::size_t size() const noexcept { return size_; }
    bool empty() const noexcept { return size_ == 0; }
    T &operator[](std::size_t i) const noexcept { return data_[i]; }
    T *begin() const noexcept { return data_; }
    T *end() const noexcept { return data_ + size_; }

  private:
    T *data_;
    std::size_t size_;
};
#endif

/* A text as the C interface takes it; `s` must live as long. */
inline fitw_str str(const std::string &s) noexcept {
    fitw_str out;
    out.ptr = s.data();
    out.len = s.size();
    return out;
}

/* A text of the C interface, copied. */
inline std::string str(const fitw_str &s) { return s.len == 0 ? std::string() : std::string(s.ptr, s.len); }

/* A struct of the C interface, zero, with its size set. */
template <class T> T sized() noexcept {
    T out = FITW_ZERO;
    out.struct_size = static_cast<uint32_t>(sizeof(T));
    return out;
}

/* Whether the library that is loaded serves a program compiled with this header. */
inline bool fits() noexcept { return FITW_ABI_FITS(fitw_abi_version()); }
/* Version of the engine, and how the library was built. */
inline std::string version() {
    fitw_str s = FITW_ZERO;
    return fitw_version_text(&s) == FITW_OK ? str(s) : std::string();
}
inline std::string build() {
    fitw_str s = FITW_ZERO;
    return fitw_build_text(&s) == FITW_OK ? str(s) : std::string();
}
/* Whether the library has a feature, such as "step". */
inline bool has(const std::string &feature) noexcept {
    int32_t known = 0;
    return fitw_feature_known(str(feature), &known) == FITW_OK && known != 0;
}

/* The motion that moves nothing. */
inline fitw_pose identity() noexcept {
    fitw_pose pose = {{1, 0, 0, 0, 1, 0, 0, 0, 1}, {0, 0, 0}};
    return pose;
}

/* ---- ERRORS ---------------------------------------------------------------------------------------------- */

/* Why a call failed; what() is the message. */
class Error : public std::runtime_error {
  public:
    Error(fitw_status status, const std::string &message, const std::string &place)
        : std::runtime_error(message), status_(status), place_(std::make_shared<const std::string>(place)) {}
    /* FITW_E_… */
    fitw_status status() const noexcept { return status_; }
    /* Function, argument, file, line. */
    const std::string &place() const noexcept { return *place_; }

  private:
    fitw_status status_;
    std::shared_ptr<const std::string> place_;
};

/* Name of a status, such as "FITW_E_IO". */
inline std::string status_name(fitw_status status) {
    fitw_str s = FITW_ZERO;
    return fitw_status_name(status, &s) == FITW_OK ? str(s) : std::string();
}

/* A value, or why there is none. */
template <class T> class Result {
  public:
    Result(T value) : value_(std::move(value)) {}
    Result(Error error) : value_(), error_(std::make_shared<const Error>(std::move(error))) {}
    explicit operator bool() const noexcept { return !error_; }
    bool has_value() const noexcept { return !error_; }
    /* The value; ends the program if there is none. */
    T &value() & { return check(), value_; }
    const T &value() const & { return check(), value_; }
    T &&value() && { return check(), std::move(value_); }
    T &operator*() & { return value(); }
    const T &operator*() const & { return value(); }
    T &&operator*() && { return std::move(*this).value(); }
    T *operator->() { return &value(); }
    const T *operator->() const { return &value(); }
    /* The error; ends the program if there is none. */
    const Error &error() const {
        if (!error_) std::abort();
        return *error_;
    }

  private:
    void check() const {
        if (error_) std::abort();
    }
    T value_;
    std::shared_ptr<const Error> error_;
};

/* Success, or why not. */
template <> class Result<void> {
  public:
    Result() = default;
    Result(Error error) : error_(std::make_shared<const Error>(std::move(error))) {}
    explicit operator bool() const noexcept { return !error_; }
    bool has_value() const noexcept { return !error_; }
    const Error &error() const {
        if (!error_) std::abort();
        return *error_;
    }

  private:
    std::shared_ptr<const Error> error_;
};

/* What a call gives back: T, or Result<T> with FITWRIGHT_RESULTS. */
#ifdef FITWRIGHT_RESULTS
template <class T> using Out = Result<T>;
#else
template <class T> using Out = T;
#endif

/* ---- CONTEXT'S INSIDE ------------------------------------------------------------------------------------ */

/* Step and fraction done, 0 to 1; false cancels. Called on any thread, one call at a time. */
using Progress = std::function<bool(const std::string &step, double fraction)>;
/* FITW_LOG_… and a line. */
using Log = std::function<void(int32_t level, const std::string &line)>;

namespace detail {

struct Session {
    fitw_context *raw = nullptr;
    Progress progress;
    Log log;
    std::mutex mutex;
    std::exception_ptr thrown;

    Session() = default;
    Session(const Session &) = delete;
    Session &operator=(const Session &) = delete;
    ~Session() { fitw_context_release(raw); }

    void keep(std::exception_ptr exception) {
        std::lock_guard<std::mutex> lock(mutex);
        if (!thrown) thrown = std::move(exception);
    }
    std::exception_ptr take() {
        std::lock_guard<std::mutex> lock(mutex);
        std::exception_ptr out;
        std::swap(out, thrown);
        return out;
    }
};

using Shared = std::shared_ptr<Session>;

inline fitw_context *raw(const Shared &session) noexcept { return session ? session->raw : nullptr; }

using Reader = fitw_status (*)(const fitw_context *, char *, std::size_t, std::size_t *);

inline std::string read(const fitw_context *context, Reader reader) {
    std::size_t need = 0;
    if (reader(context, nullptr, 0, &need) != FITW_OK || need < 2) return std::string();
    std::vector<char> buffer(need);
    if (reader(context, buffer.data(), need, nullptr) != FITW_OK) return std::string();
    return std::string(buffer.data());
}

/* The context's words, if its last error is still this one. */
inline Error error(const Shared &session, fitw_status status) {
    const fitw_context *context = raw(session);
    fitw_status last = FITW_OK;
    if (context == nullptr || fitw_context_error_status(context, &last) != FITW_OK || last != status)
        return Error(status, status_name(status), std::string());
    return Error(status, read(context, fitw_context_error_message), read(context, fitw_context_error_place));
}

#ifdef FITWRIGHT_RESULTS
template <class T> Result<T> done(const Shared &session, fitw_status status, T value) {
    if (status == FITW_OK) return Result<T>(std::move(value));
    if (session) session->take();
    return Result<T>(error(session, status));
}
inline Result<void> done(const Shared &session, fitw_status status) {
    if (status == FITW_OK) return Result<void>();
    if (session) session->take();
    return Result<void>(error(session, status));
}
#else
inline void done(const Shared &session, fitw_status status) {
    if (status == FITW_OK) return;
    if (session) {
        std::exception_ptr thrown = session->take();
        if (thrown && status == FITW_E_CANCELLED) std::rethrow_exception(thrown);
    }
    throw error(session, status);
}
template <class T> T done(const Shared &session, fitw_status status, T value) {
    done(session, status);
    return value;
}
#endif

inline int32_t on_progress(void *user, fitw_str step, double fraction) {
    Session &session = *static_cast<Session *>(user);
    FITWRIGHT_TRY { return session.progress(str(step), fraction) ? 0 : 1; }
    FITWRIGHT_CATCH_ALL { session.keep(FITWRIGHT_CURRENT); }
    return 1;
}

inline void on_log(void *user, int32_t level, fitw_str line) {
    Session &session = *static_cast<Session *>(user);
    FITWRIGHT_TRY { session.log(level, str(line)); }
    FITWRIGHT_CATCH_ALL {
        session.keep(FITWRIGHT_CURRENT);
        fitw_context_cancel(session.raw);
    }
}

inline void on_release(void *user) {
    std::unique_ptr<std::function<void()>> release(static_cast<std::function<void()> *>(user));
    /* Nobody is there to hear of an exception: borrowed memory is given back on any thread. */
    FITWRIGHT_TRY {
        if (*release) (*release)();
    }
    FITWRIGHT_CATCH_ALL {}
}

template <class T, fitw_status (*Release)(T *)> class Handle {
  public:
    Handle() noexcept : raw_(nullptr) {}
    Handle(Shared session, T *raw) noexcept : session_(std::move(session)), raw_(raw) {}
    Handle(Handle &&other) noexcept : session_(std::move(other.session_)), raw_(other.release()) {}
    Handle &operator=(Handle &&other) noexcept {
        if (this != &other) {
            reset();
            session_ = std::move(other.session_);
            raw_ = other.release();
        }
        return *this;
    }
    Handle(const Handle &) = delete;
    Handle &operator=(const Handle &) = delete;
    ~Handle() { reset(); }

    /* The handle of the C interface; stays owned here. */
    T *get() const noexcept { return raw_; }
    explicit operator bool() const noexcept { return raw_ != nullptr; }
    /* Gives the handle away: the caller releases it. */
    T *release() noexcept {
        T *out = raw_;
        raw_ = nullptr;
        return out;
    }
    void reset() noexcept {
        if (raw_ != nullptr) Release(release());
    }
    const Shared &session() const noexcept { return session_; }
    /* Calls go through another context from now on. */
    template <class C> void use(const C &context) noexcept { session_ = context.session(); }

  protected:
    fitw_context *context() const noexcept { return detail::raw(session_); }

    /* A call that fills a struct with its size. */
    template <class S> Out<S> ask(fitw_status (*call)(const fitw_context *, const T *, S *)) const {
        S out = sized<S>();
        fitw_status status = call(context(), raw_, &out);
        return done<S>(session_, status, out);
    }
    template <class S>
    Out<S> ask_at(fitw_status (*call)(const fitw_context *, const T *, std::size_t, S *), std::size_t index) const {
        S out = sized<S>();
        fitw_status status = call(context(), raw_, index, &out);
        return done<S>(session_, status, out);
    }
    template <class S>
    Out<S> ask_about(fitw_status (*call)(const fitw_context *, const T *, const double *, S *),
                     const Point *about) const {
        S out = sized<S>();
        fitw_status status = call(context(), raw_, about == nullptr ? nullptr : about->data(), &out);
        return done<S>(session_, status, out);
    }
    template <class S> Out<S> plain(fitw_status (*call)(const fitw_context *, const T *, S *)) const {
        S out = S();
        fitw_status status = call(context(), raw_, &out);
        return done<S>(session_, status, out);
    }
    Out<std::string> text_at(fitw_status (*call)(const fitw_context *, const T *, std::size_t, fitw_str *),
                             std::size_t index) const {
        fitw_str out = FITW_ZERO;
        fitw_status status = call(context(), raw_, index, &out);
        return done<std::string>(session_, status, status == FITW_OK ? str(out) : std::string());
    }
    template <class E>
    Out<Span<const E>> view(fitw_status (*call)(const fitw_context *, const T *, const E **, std::size_t *),
                            std::size_t width) const {
        const E *first = nullptr;
        std::size_t count = 0;
        fitw_status status = call(context(), raw_, &first, &count);
        Span<const E> out = first == nullptr ? Span<const E>() : Span<const E>(first, count * width);
        return done<Span<const E>>(session_, status, out);
    }
    template <class Table>
    Out<Table> table_of(fitw_status (*parameter)(const fitw_context *, const T *, std::size_t, fitw_parameter *),
                        fitw_status (*column)(const fitw_context *, const T *, std::size_t, std::size_t, fitw_column *),
                        fitw_status (*view)(const fitw_context *, const T *, std::size_t, const double **, std::size_t *),
                        std::size_t index) const {
        Table out;
        fitw_parameter p = sized<fitw_parameter>();
        const double *first = nullptr;
        std::size_t count = 0;
        fitw_status status = parameter(context(), raw_, index, &p);
        if (status == FITW_OK) status = view(context(), raw_, index, &first, &count);
        out.values = first == nullptr ? Span<const double>() : Span<const double>(first, count);
        for (std::size_t k = 0; status == FITW_OK && k < static_cast<std::size_t>(p.value[1]); ++k) {
            fitw_column c = sized<fitw_column>();
            status = column(context(), raw_, index, k, &c);
            if (status == FITW_OK) out.columns.push_back({str(c.name), c.quantity});
        }
        return done<Table>(session_, status, std::move(out));
    }
    Shared session_;
    T *raw_;
};

template <class H, class T> Out<H> made(const Shared &session, fitw_status status, T *raw) {
    return done<H>(session, status, H(session, raw));
}

} /* namespace detail */

/* ---- ARGUMENTS ------------------------------------------------------------------------------------------- */

/* Points with triangles or normals in the caller's memory; the spans must live during the call. */
class Mesh {
  public:
    explicit Mesh(Span<const double> xyz, Span<const uint32_t> triangles = Span<const uint32_t>())
        : Mesh(xyz.data(), xyz.size(), FITW_SCALAR_F64, triangles) {}
    explicit Mesh(Span<const float> xyz, Span<const uint32_t> triangles = Span<const uint32_t>())
        : Mesh(xyz.data(), xyz.size(), FITW_SCALAR_F32, triangles) {}
    /* Outward, one for each point. */
    Mesh &normals(Span<const double> xyz) {
        whole_ = whole_ && xyz.size() == 3 * mesh_.point_count;
        mesh_.normals = xyz.data();
        return *this;
    }
    /* FITW_UNIT_… of the points. */
    Mesh &unit(int32_t unit) {
        mesh_.unit = unit;
        return *this;
    }
    /* For strides and what else the C interface knows. */
    fitw_mesh &raw() noexcept { return mesh_; }
    const fitw_mesh &raw() const noexcept { return mesh_; }
    /* Whether the arrays' sizes go together. */
    bool whole() const noexcept { return whole_; }

  private:
    Mesh(const void *points, std::size_t size, int32_t scalar, Span<const uint32_t> triangles)
        : mesh_(sized<fitw_mesh>()), whole_(size % 3 == 0 && triangles.size() % 3 == 0) {
        mesh_.points = points;
        mesh_.point_count = size / 3;
        mesh_.point_scalar = scalar;
        mesh_.triangles = triangles.empty() ? nullptr : triangles.data();
        mesh_.triangle_count = triangles.size() / 3;
    }
    fitw_mesh mesh_;
    bool whole_;
};

/* Something known of a shape: FITW_CONSTRAINT_… with its number. */
inline fitw_constraint constraint(int32_t kind, double value) {
    fitw_constraint out = FITW_ZERO;
    out.kind = kind;
    out.value = value;
    return out;
}

/* Something known of a shape: FITW_CONSTRAINT_… with its direction or place. */
inline fitw_constraint constraint(int32_t kind, const Point &vector) {
    fitw_constraint out = FITW_ZERO;
    out.kind = kind;
    for (std::size_t k = 0; k < 3; ++k) out.vector[k] = vector[k];
    return out;
}

/* How a shape is fitted. */
struct FitOptions {
    int32_t criterion = 0; /* FITW_CRITERION_…; 0: least squares */
    uint32_t flags = 0;    /* 0 or FITW_FIT_KEEP_OUTLIERS */
    std::vector<fitw_constraint> constraints;
    const fitw_noise *noise = nullptr;          /* of Noise::get(); what is known of the scan's noise */
    const fitw_covariance *reference = nullptr; /* of the feature that the constraints' direction is from */
    std::map<std::string, double> options;      /* of a plug-in's fitter, mm and rad; a switch: 1 or 0 */
};

namespace detail {

/* The options as the C interface takes them; what they are of must outlive them. */
class RawFit {
  public:
    explicit RawFit(const FitOptions &of) : raw_(sized<fitw_fit_options>()) {
        for (const auto &o : of.options) {
            fitw_option_value v = FITW_ZERO;
            v.name = str(o.first);
            v.value = o.second;
            values_.push_back(v);
        }
        raw_.criterion = of.criterion;
        raw_.flags = of.flags;
        raw_.constraints = of.constraints.data();
        raw_.constraint_count = of.constraints.size();
        raw_.noise = of.noise;
        raw_.reference = of.reference;
        raw_.options = values_.data();
        raw_.option_count = values_.size();
    }
    RawFit(const RawFit &) = delete;
    RawFit &operator=(const RawFit &) = delete;
    const fitw_fit_options *get() const noexcept { return &raw_; }

  private:
    fitw_fit_options raw_;
    std::vector<fitw_option_value> values_;
};

} /* namespace detail */

/* How plug-ins are loaded. */
struct PluginOptions {
    bool trust = false;              /* inside this process, instead of each in a worker process */
    std::string worker;              /* path of fitwright-worker; empty: beside this program */
    double time_limit_s = 0.0;       /* of a call in a worker; 0: 60 */
    uint64_t memory_limit_bytes = 0; /* of a worker; 0: 4 GiB */
};

/* A table among the parameters; `values` row by row, in the memory of the fit or feature. */
struct Table {
    struct Column {
        std::string name;
        int32_t quantity; /* FITW_QUANTITY_… */
    };
    std::vector<Column> columns;
    Span<const double> values;
    std::size_t rows() const noexcept { return columns.empty() ? 0 : values.size() / columns.size(); }
    double at(std::size_t row, std::size_t column) const noexcept { return values[row * columns.size() + column]; }
};

/* What a scanner's maker states of its errors of length. */
inline fitw_length_error length_error(double fixed_mm, double per_length) {
    fitw_length_error out = FITW_ZERO;
    out.fixed_mm = fixed_mm;
    out.per_length = per_length;
    return out;
}

/* Movements of a scene's motions: about or along the axis of a feature (its place in the scene), or a line;
   limits in rad or mm. */
inline fitw_scene_move moved(int32_t kind, int32_t feature, const Point &point_mm, const Point &direction, double from,
                             double to) {
    fitw_scene_move out = FITW_ZERO;
    out.kind = kind;
    out.feature = feature;
    for (std::size_t k = 0; k < 3; ++k) {
        out.point_mm[k] = point_mm[k];
        out.direction[k] = direction[k];
    }
    out.from = from;
    out.to = to;
    return out;
}
inline fitw_scene_move turn(int32_t feature, double from, double to) {
    return moved(FITW_MOVE_TURN, feature, Point(), Point(), from, to);
}
inline fitw_scene_move turn(const Point &point_mm, const Point &direction, double from, double to) {
    return moved(FITW_MOVE_TURN, -1, point_mm, direction, from, to);
}
inline fitw_scene_move shift(int32_t feature, double from, double to) {
    return moved(FITW_MOVE_SHIFT, feature, Point(), Point(), from, to);
}
inline fitw_scene_move shift(const Point &direction, double from, double to) {
    return moved(FITW_MOVE_SHIFT, -1, Point(), direction, from, to);
}
/* Change of a body's temperature; expansion in 1/K. */
inline fitw_warming warming(double expansion, double within, double from_celsius, double to_celsius,
                            double to_within = 0.0) {
    fitw_warming out = FITW_ZERO;
    out.expansion = expansion;
    out.expansion_within = within;
    out.from_celsius = from_celsius;
    out.to_celsius = to_celsius;
    out.to_within = to_within;
    return out;
}

/* ---- OWNERS ---------------------------------------------------------------------------------------------- */

class Context;
class Scan;
class Region;
class Fit;
class Feature;
class Datum;
class Join;
class Adjustment;
class Merged;
class Part;
class Check;
class Job;
class Outcome;
class Scene;
struct DatumOf;

class Text : public detail::Handle<fitw_text, fitw_text_release> {
  public:
    using Handle::Handle;
    Out<std::string> string() const {
        fitw_str s = FITW_ZERO;
        fitw_status status = fitw_text_view(context(), raw_, &s);
        return detail::done<std::string>(session_, status, status == FITW_OK ? str(s) : std::string());
    }
};

namespace detail {

/* What a call has written, released once it is copied. */
inline Out<std::string> told(const Shared &session, fitw_status status, fitw_text *raw) {
    const Text text(session, raw);
    fitw_str s = FITW_ZERO;
    if (status == FITW_OK) status = fitw_text_view(detail::raw(session), raw, &s);
    return done<std::string>(session, status, status == FITW_OK ? str(s) : std::string());
}

} /* namespace detail */

/* A set of points of one scan. */
class Region : public detail::Handle<fitw_region, fitw_region_release> {
  public:
    using Handle::Handle;
    Out<Span<const uint32_t>> ids() const { return view(fitw_region_ids_view, 1); }
    /* Without the points nearer than this to its edge, mm; 0: twice the resolution. */
    Out<Region> trim(double distance_mm = 0.0) const {
        fitw_region *out = nullptr;
        fitw_status status = fitw_region_trim(context(), raw_, distance_mm, &out, nullptr);
        return detail::made<Region>(session_, status, out);
    }
    inline Out<Fit> fit(const std::string &fitter, const FitOptions &options = FitOptions()) const;
};

/* A shape fitted to points. */
class Fit : public detail::Handle<fitw_fit, fitw_fit_release> {
  public:
    using Handle::Handle;
    Out<fitw_shape> shape() const { return ask(fitw_fit_shape); }
    Out<fitw_quality> quality() const { return ask(fitw_fit_quality); }
    Out<fitw_constraint_cost> constraint_cost() const { return ask(fitw_fit_constraint_cost); }
    Out<fitw_covariance> covariance(const Point *about = nullptr) const {
        return ask_about(fitw_fit_covariance, about);
    }
    Out<fitw_uncertainty> uncertainty(const Point *place = nullptr) const {
        return ask_about(fitw_fit_uncertainty, place);
    }
    Out<std::size_t> parameter_count() const { return plain(fitw_fit_parameter_count); }
    Out<fitw_parameter> parameter(std::size_t index) const { return ask_at(fitw_fit_parameter, index); }
    Out<fitw_parameter> parameter(const std::string &name) const {
        fitw_parameter out = sized<fitw_parameter>();
        fitw_status status = fitw_fit_parameter_named(context(), raw_, str(name), &out);
        return detail::done<fitw_parameter>(session_, status, out);
    }
    /* A parameter whose value is a table. */
    Out<Table> table(std::size_t index) const {
        return table_of<Table>(fitw_fit_parameter, fitw_fit_table_column, fitw_fit_table_view, index);
    }
    /* Expanded uncertainty of a parameter. */
    Out<double> parameter_uncertainty(std::size_t index) const {
        double out = 0.0;
        fitw_status status = fitw_fit_parameter_uncertainty(context(), raw_, index, &out);
        return detail::done<double>(session_, status, out);
    }
    Out<std::size_t> note_count() const { return plain(fitw_fit_note_count); }
    Out<std::string> note(std::size_t index) const { return text_at(fitw_fit_note, index); }
    Out<Span<const uint32_t>> rejected() const { return view(fitw_fit_rejected_view, 1); }
    Out<Span<const uint32_t>> contacts() const { return view(fitw_fit_contacts_view, 1); }
    /* Where those are: x, y, z side by side. */
    Out<Span<const double>> contact_points() const { return view(fitw_fit_contact_points_view, 3); }
    /* quality().evidence_count of them. */
    Out<fitw_evidence> evidence(std::size_t index) const { return ask_at(fitw_fit_evidence, index); }
    /* The shape bounded by `surface`: all points of it, edges included. */
    inline Out<Feature> feature(const std::string &name, const Region &surface) const;
};

/* Shapes that were fitted at once, in the order of the members, and what that cost them. */
struct Group {
    std::vector<Fit> fits;
    fitw_constraint_cost cost;
    Group() : cost(sized<fitw_constraint_cost>()) {}
};

/* What is known of a scan's noise: FitOptions::noise. */
class Noise : public detail::Handle<fitw_noise, fitw_noise_release> {
  public:
    using Handle::Handle;
};

/* A named thing, fitted or constructed, with its bounded pieces. */
class Feature : public detail::Handle<fitw_feature, fitw_feature_release> {
  public:
    using Handle::Handle;
    Out<fitw_feature_info> describe() const { return ask(fitw_feature_describe); }
    Out<fitw_shape> shape() const { return ask(fitw_feature_shape); }
    Out<fitw_quality> quality() const { return ask(fitw_feature_quality); }
    Out<fitw_covariance> covariance(const Point *about = nullptr) const {
        return ask_about(fitw_feature_covariance, about);
    }
    Out<fitw_uncertainty> uncertainty(const Point *place = nullptr) const {
        return ask_about(fitw_feature_uncertainty, place);
    }
    Out<fitw_parameter> parameter(std::size_t index) const { return ask_at(fitw_feature_parameter, index); }
    Out<fitw_parameter> parameter(const std::string &name) const {
        fitw_parameter out = sized<fitw_parameter>();
        fitw_status status = fitw_feature_parameter_named(context(), raw_, str(name), &out);
        return detail::done<fitw_parameter>(session_, status, out);
    }
    /* A parameter whose value is a table. */
    Out<Table> table(std::size_t index) const {
        return table_of<Table>(fitw_feature_parameter, fitw_feature_table_column, fitw_feature_table_view, index);
    }
    /* Expanded uncertainty of a parameter. */
    Out<double> parameter_uncertainty(std::size_t index) const {
        double out = 0.0;
        fitw_status status = fitw_feature_parameter_uncertainty(context(), raw_, index, &out);
        return detail::done<double>(session_, status, out);
    }
    Out<Span<const double>> contact_points() const { return view(fitw_feature_contact_points_view, 3); }
    Out<fitw_evidence> evidence(std::size_t index) const { return ask_at(fitw_feature_evidence, index); }
    Out<std::string> note(std::size_t index) const { return text_at(fitw_feature_note, index); }
    Out<fitw_piece> piece(std::size_t index) const { return ask_at(fitw_feature_piece, index); }
    /* x, y, z of the corners of a loop of an outline. */
    Out<Span<const double>> loop(std::size_t piece, std::size_t index) const {
        const double *first = nullptr;
        std::size_t count = 0;
        fitw_status status = fitw_feature_piece_loop_view(context(), raw_, piece, index, &first, &count);
        return detail::done<Span<const double>>(session_, status, Span<const double>(first, 3 * count));
    }
    Out<Feature> intersect(const std::string &name, const Feature &other) const {
        fitw_feature *out = nullptr;
        fitw_status status = fitw_feature_intersect(context(), str(name), raw_, other.raw_, &out);
        return detail::made<Feature>(session_, status, out);
    }
    Out<Feature> midplane(const std::string &name, const Feature &other) const {
        fitw_feature *out = nullptr;
        fitw_status status = fitw_feature_midplane(context(), str(name), raw_, other.raw_, &out);
        return detail::made<Feature>(session_, status, out);
    }
    Out<Feature> move(const fitw_pose &pose) const {
        fitw_feature *out = nullptr;
        fitw_status status = fitw_feature_move(context(), raw_, &pose, &out);
        return detail::made<Feature>(session_, status, out);
    }
    inline Out<Feature> join(const Join &join) const;
    Out<Feature> rename(const std::string &name) const {
        fitw_feature *out = nullptr;
        fitw_status status = fitw_feature_rename(context(), raw_, str(name), &out);
        return detail::made<Feature>(session_, status, out);
    }
    /* With the scanner's error of length in its sizes and direction; once only. */
    Out<Feature> add_length_error(const fitw_length_error &error) const {
        fitw_feature *out = nullptr;
        fitw_status status = fitw_feature_add_length_error(context(), raw_, &error, &out);
        return detail::made<Feature>(session_, status, out);
    }
    Out<fitw_relation> relation(const Feature &other) const {
        fitw_relation out = sized<fitw_relation>();
        fitw_status status = fitw_feature_relation(context(), raw_, other.raw_, &out);
        return detail::done<fitw_relation>(session_, status, out);
    }
};

/* A hole and the points of its wall, of which there may be none. */
struct Hole {
    Feature feature;
    Region wall;
};

/* A tube (kind 0) or a group (FITW_SURVEYED_…) of a survey: numbers of its primitives, and their common radius, NaN
   if that is not what they have in common. */
struct SurveyGroup {
    int32_t kind = 0;
    double radius_mm = 0.0;
    Span<const uint32_t> members;
};

/* Every primitive of a scan, and what they make together; FITW_SURVEY_NONE stands for no primitive. */
class Survey : public detail::Handle<fitw_survey, fitw_survey_release> {
  public:
    using Handle::Handle;
    Out<fitw_survey_info> describe() const { return ask(fitw_survey_describe); }
    Out<fitw_surveyed> primitive(std::size_t index) const { return ask_at(fitw_survey_primitive, index); }
    /* Numbers of a primitive's points, edges included. */
    Out<Span<const uint32_t>> ids(std::size_t index) const {
        const uint32_t *first = nullptr;
        std::size_t count = 0;
        fitw_status status = fitw_survey_ids_view(context(), raw_, index, &first, &count);
        return detail::done<Span<const uint32_t>>(session_, status, Span<const uint32_t>(first, count));
    }
    /* Numbers of the primitives that one touches. */
    Out<Span<const uint32_t>> neighbours(std::size_t index) const {
        const uint32_t *first = nullptr;
        std::size_t count = 0;
        fitw_status status = fitw_survey_neighbours_view(context(), raw_, index, &first, &count);
        return detail::done<Span<const uint32_t>>(session_, status, Span<const uint32_t>(first, count));
    }
    /* A primitive with its pieces, quality and covariance; its name is the id. */
    Out<Feature> feature(std::size_t index) const {
        fitw_feature *out = nullptr;
        fitw_status status = fitw_survey_feature(context(), raw_, index, &out);
        return detail::made<Feature>(session_, status, out);
    }
    /* A primitive's points, edges included. */
    Out<Region> region(std::size_t index) const {
        fitw_region *out = nullptr;
        fitw_status status = fitw_survey_region(context(), raw_, index, &out);
        return detail::made<Region>(session_, status, out);
    }
    Out<fitw_surveyed_hole> hole(std::size_t index) const { return ask_at(fitw_survey_hole, index); }
    Out<SurveyGroup> tube(std::size_t index) const {
        SurveyGroup out;
        const uint32_t *first = nullptr;
        std::size_t count = 0;
        fitw_status status = fitw_survey_tube_view(context(), raw_, index, &first, &count, &out.radius_mm);
        out.members = Span<const uint32_t>(first, count);
        return detail::done<SurveyGroup>(session_, status, out);
    }
    Out<SurveyGroup> group(std::size_t index) const {
        SurveyGroup out;
        const uint32_t *first = nullptr;
        std::size_t count = 0;
        fitw_status status =
            fitw_survey_group_view(context(), raw_, index, &first, &count, &out.kind, &out.radius_mm);
        out.members = Span<const uint32_t>(first, count);
        return detail::done<SurveyGroup>(session_, status, out);
    }
    /* The likeliest datum system. */
    Out<fitw_proposed_datum> datum() const { return ask(fitw_survey_datum); }
    /* Number and distance of the primitive nearest to a place, of a kind (0: any) and of about a diameter (0: any). */
    Out<std::pair<int32_t, double>> nearest(const Point &place, int32_t kind = 0, double diameter_mm = 0.0) const {
        std::pair<int32_t, double> out(FITW_SURVEY_NONE, 0.0);
        fitw_status status =
            fitw_survey_nearest(context(), raw_, place.data(), kind, diameter_mm, &out.first, &out.second);
        return detail::done<std::pair<int32_t, double>>(session_, status, out);
    }
    /* What the command line writes to survey.json. */
    Out<std::string> json(const std::string &scan_file = std::string()) const {
        fitw_text *out = nullptr;
        fitw_status status = fitw_survey_json(context(), raw_, str(scan_file), &out);
        return detail::told(session_, status, out);
    }
    /* A job file to be trimmed; `scan_file` as seen from its folder. */
    Out<std::string> starter_job(const std::string &scan_file, int32_t unit = FITW_UNIT_MM) const {
        fitw_text *out = nullptr;
        fitw_status status = fitw_survey_starter_job(context(), raw_, str(scan_file), unit, &out);
        return detail::told(session_, status, out);
    }
};

/* Points with optional triangles and normals, mm. */
class Scan : public detail::Handle<fitw_scan, fitw_scan_release> {
  public:
    using Handle::Handle;
    Out<fitw_scan_info> describe() const { return ask(fitw_scan_describe); }
    Out<std::string> note(std::size_t index) const { return text_at(fitw_scan_note, index); }
    Out<Span<const double>> points() const { return view(fitw_scan_points_view, 3); }
    Out<Span<const uint32_t>> triangles() const { return view(fitw_scan_triangles_view, 3); }
    Out<Span<const double>> normals() const { return view(fitw_scan_normals_view, 3); }
    Out<double> noise() const { return plain(fitw_scan_noise); }
    Out<double> resolution() const { return plain(fitw_scan_resolution); }
    /* Number and distance of the point nearest to a place. */
    Out<std::pair<uint32_t, double>> nearest(const Point &place) const {
        std::pair<uint32_t, double> out(0, 0.0);
        fitw_status status = fitw_scan_nearest(context(), raw_, place.data(), &out.first, &out.second);
        return detail::done<std::pair<uint32_t, double>>(session_, status, out);
    }
    /* Every primitive; those smaller than this are left out, 0: by the number of their points. */
    Out<Survey> survey(double smallest_mm = 0.0) const {
        fitw_survey_options options = sized<fitw_survey_options>();
        options.smallest_mm = smallest_mm;
        fitw_survey *out = nullptr;
        fitw_status status = fitw_survey_run(context(), raw_, &options, &out);
        return detail::made<Survey>(session_, status, out);
    }
    Out<Scan> move(const fitw_pose &pose) const {
        fitw_scan *out = nullptr;
        fitw_status status = fitw_scan_move(context(), raw_, &pose, &out);
        return detail::made<Scan>(session_, status, out);
    }
    /* From a pick along a surface of kind FITW_KIND_…. */
    Out<Region> grow(const Point &pick, int32_t kind,
                     const fitw_grow_options &options = sized<fitw_grow_options>()) const {
        fitw_region *out = nullptr;
        fitw_status status = fitw_region_grow(context(), raw_, pick.data(), kind, &options, &out);
        return detail::made<Region>(session_, status, out);
    }
    Out<Region> all() const {
        fitw_region *out = nullptr;
        fitw_status status = fitw_region_all(context(), raw_, &out);
        return detail::made<Region>(session_, status, out);
    }
    Out<Region> from_ids(Span<const uint32_t> ids) const {
        fitw_region *out = nullptr;
        fitw_status status = fitw_region_from_ids(context(), raw_, ids.data(), ids.size(), &out);
        return detail::made<Region>(session_, status, out);
    }
    Out<Region> in_box(const Point &low, const Point &high, const fitw_pose *frame_from_scan = nullptr) const {
        fitw_region *out = nullptr;
        fitw_status status =
            fitw_region_in_box(context(), raw_, frame_from_scan, low.data(), high.data(), &out);
        return detail::made<Region>(session_, status, out);
    }
    Out<Region> in_sphere(const Point &centre, double radius_mm) const {
        fitw_region *out = nullptr;
        fitw_status status = fitw_region_in_sphere(context(), raw_, centre.data(), radius_mm, &out);
        return detail::made<Region>(session_, status, out);
    }
    Out<Region> near_shape(const fitw_shape &shape, double within_mm) const {
        fitw_region *out = nullptr;
        fitw_status status = fitw_region_near_shape(context(), raw_, &shape, within_mm, &out);
        return detail::made<Region>(session_, status, out);
    }
};

/* The machine's own axes. */
class Datum : public detail::Handle<fitw_datum, fitw_datum_release> {
  public:
    using Handle::Handle;
    /* machine_from_scan. */
    Out<fitw_pose> pose() const { return plain(fitw_datum_pose); }
    Out<fitw_covariance> covariance(const Point *about = nullptr) const {
        return ask_about(fitw_datum_covariance, about);
    }
    Out<fitw_datum_info> describe() const { return ask(fitw_datum_describe); }
    Out<fitw_squareness> squareness(std::size_t index) const { return ask_at(fitw_datum_squareness, index); }
    Out<std::string> taken(std::size_t index) const { return text_at(fitw_datum_taken, index); }
};

/* A feature as the scan joined to and the joined one show it, for Context::join_by_features. */
inline fitw_same_feature same(const Feature &to, const Feature &from, bool directed = true) {
    fitw_same_feature out = FITW_ZERO;
    out.to = to.get();
    out.from = from.get();
    out.directed = directed;
    return out;
}

/* How one scan was joined to another. */
class Join : public detail::Handle<fitw_join, fitw_join_release> {
  public:
    using Handle::Handle;
    Out<fitw_pose> pose() const { return plain(fitw_join_pose); }
    Out<fitw_covariance> covariance(const Point *about = nullptr) const {
        return ask_about(fitw_join_covariance, about);
    }
    Out<fitw_join_info> describe() const { return ask(fitw_join_describe); }
    Out<fitw_target_pair> pair(std::size_t index) const { return ask_at(fitw_join_pair, index); }
    Out<fitw_feature_residual> feature(std::size_t index) const { return ask_at(fitw_join_feature, index); }
    Out<fitw_candidate_pose> candidate(std::size_t index) const { return ask_at(fitw_join_candidate, index); }
    Out<std::string> note(std::size_t index) const { return text_at(fitw_join_note, index); }
};

/* A scan to be adjusted with others, and where it nearly lies. */
inline fitw_started_scan started(const Scan &scan, const fitw_pose &common_from_scan) {
    fitw_started_scan out = FITW_ZERO;
    out.scan = scan.get();
    out.common_from_scan = common_from_scan;
    return out;
}

/* Scans adjusted all together over their overlaps. */
class Adjustment : public detail::Handle<fitw_adjustment, fitw_adjustment_release> {
  public:
    using Handle::Handle;
    Out<fitw_adjustment_info> describe() const { return ask(fitw_adjustment_describe); }
    /* common_from_scan of a scan. */
    Out<fitw_pose> pose(std::size_t index) const {
        fitw_pose out = identity();
        fitw_status status = fitw_adjustment_pose(context(), raw_, index, &out);
        return detail::done<fitw_pose>(session_, status, out);
    }
    Out<fitw_covariance> covariance(std::size_t index, const Point *about = nullptr) const {
        fitw_covariance out = sized<fitw_covariance>();
        fitw_status status =
            fitw_adjustment_covariance(context(), raw_, index, about == nullptr ? nullptr : about->data(), &out);
        return detail::done<fitw_covariance>(session_, status, out);
    }
    Out<fitw_adjusted_pair> pair(std::size_t index) const { return ask_at(fitw_adjustment_pair, index); }
    Out<std::string> note(std::size_t index) const { return text_at(fitw_adjustment_note, index); }
};

/* A scan to be put into one with others: where it lies, and how it was joined. */
inline fitw_placed_scan placed(const Scan &scan, const fitw_pose &all_from_this, const Join *join = nullptr) {
    fitw_placed_scan out = FITW_ZERO;
    out.scan = scan.get();
    out.all_from_this = all_from_this;
    out.join = join == nullptr ? nullptr : join->get();
    return out;
}

/* Several joined scans as one, the better one where they overlap. */
class Merged : public detail::Handle<fitw_merged, fitw_merged_release> {
  public:
    using Handle::Handle;
    Out<fitw_merged_info> describe() const { return ask(fitw_merged_describe); }
    Out<Scan> scan() const {
        fitw_scan *out = nullptr;
        fitw_status status = fitw_merged_scan(context(), raw_, &out);
        return detail::made<Scan>(session_, status, out);
    }
    Out<Span<const uint32_t>> point_scans() const { return view(fitw_merged_point_scans_view, 1); }
    Out<Span<const uint32_t>> triangle_scans() const { return view(fitw_merged_triangle_scans_view, 1); }
    /* Share of each scan that is kept. */
    Out<Span<const double>> kept() const { return view(fitw_merged_kept_view, 1); }
    Out<fitw_seam> seam(std::size_t index) const { return ask_at(fitw_merged_seam, index); }
};

/* What changed between the days. */
class Changes : public detail::Handle<fitw_changes, fitw_changes_release> {
  public:
    using Handle::Handle;
    Out<fitw_changes_info> describe() const { return ask(fitw_changes_describe); }
    Out<fitw_change> feature(std::size_t index) const { return ask_at(fitw_changes_feature, index); }
    /* Names of those that stand out, the first to stand out first. */
    Out<std::string> stand_out(std::size_t index) const { return text_at(fitw_changes_stand_out, index); }
    Out<std::string> note(std::size_t index) const { return text_at(fitw_changes_note, index); }
    /* Of still_from_machine. */
    Out<fitw_covariance> covariance(const Point *about = nullptr) const {
        return ask_about(fitw_changes_covariance, about);
    }
};

/* A datum system that an earlier day's run saved. */
class SavedDatum : public detail::Handle<fitw_saved_datum, fitw_saved_datum_release> {
  public:
    using Handle::Handle;
    Out<fitw_saved_datum_info> describe() const { return ask(fitw_saved_datum_describe); }
    Out<fitw_saved_feature> feature(std::size_t index) const { return ask_at(fitw_saved_datum_feature, index); }
    /* In later scans that are joined to each other, see placed(). */
    Out<fitw_found_again> find(Span<const fitw_placed_scan> scans,
                               const fitw_again_options &options = sized<fitw_again_options>()) const {
        fitw_found_again out = sized<fitw_found_again>();
        fitw_status status =
            fitw_saved_datum_find(context(), raw_, scans.data(), scans.size(), 0, &options, &out);
        return detail::done<fitw_found_again>(session_, status, out);
    }
    /* Today's features in the saved order, machine coordinates; NULL for one that was not found. */
    Out<Changes> changes(Span<const Feature *const> features, double still_mm = 0.0) const {
        std::vector<const fitw_feature *> raw;
        for (const Feature *feature : features) raw.push_back(feature == nullptr ? nullptr : feature->get());
        fitw_changes *out = nullptr;
        fitw_status status =
            fitw_saved_datum_changes(context(), raw_, raw.data(), raw.size(), still_mm, &out);
        return detail::made<Changes>(session_, status, out);
    }
};

/* The designed part, machine coordinates. */
class Part : public detail::Handle<fitw_part, fitw_part_release> {
  public:
    using Handle::Handle;
    Out<fitw_part_info> describe() const { return ask(fitw_part_describe); }
    Out<Span<const double>> points() const { return view(fitw_part_points_view, 3); }
    Out<Span<const uint32_t>> triangles() const { return view(fitw_part_triangles_view, 3); }
    Out<Span<const uint32_t>> face_of_triangle() const { return view(fitw_part_face_of_triangle_view, 1); }
    /* The surface of a face, and whether the material's outside is against its normal. */
    Out<std::pair<fitw_shape, bool>> face(std::size_t index) const {
        fitw_shape shape = sized<fitw_shape>();
        int32_t reversed = 0;
        fitw_status status = fitw_part_face(context(), raw_, index, &shape, &reversed);
        return detail::done<std::pair<fitw_shape, bool>>(session_, status, {shape, reversed != 0});
    }
    Out<fitw_part_hole_info> hole(std::size_t index) const { return ask_at(fitw_part_hole, index); }
    Out<fitw_part_hole_info> hole_at(const Point &place) const { return ask_about(fitw_part_hole_at, &place); }
    Out<std::string> note(std::size_t index) const { return text_at(fitw_part_note, index); }
};

/* Findings about a part, the worst first. */
class Check : public detail::Handle<fitw_check, fitw_check_release> {
  public:
    using Handle::Handle;
    /* FITW_VERDICT_…, the worst. */
    Out<int32_t> verdict() const {
        int32_t out = 0;
        fitw_status status = fitw_check_verdict(context(), raw_, &out, nullptr);
        return detail::done<int32_t>(session_, status, out);
    }
    Out<std::size_t> size() const {
        std::size_t out = 0;
        fitw_status status = fitw_check_verdict(context(), raw_, nullptr, &out);
        return detail::done<std::size_t>(session_, status, out);
    }
    Out<fitw_finding> finding(std::size_t index) const { return ask_at(fitw_check_finding, index); }
    /* Where the part was checked, from where it was designed. */
    Out<fitw_pose> part_pose() const { return plain(fitw_check_part_pose); }
    /* A further number of a finding, number_count of them. */
    Out<fitw_finding_number> number(std::size_t finding, std::size_t index) const {
        fitw_finding_number out = sized<fitw_finding_number>();
        fitw_status status = fitw_check_number(context(), raw_, finding, index, &out);
        return detail::done<fitw_finding_number>(session_, status, out);
    }
    /* What the uncertainty of a finding has from one cause, share_count of them. */
    Out<fitw_finding_share> share(std::size_t finding, std::size_t index) const {
        fitw_finding_share out = sized<fitw_finding_share>();
        fitw_status status = fitw_check_share(context(), raw_, finding, index, &out);
        return detail::done<fitw_finding_share>(session_, status, out);
    }
    /* Places of the part from outside to its seat, of a finding FITW_CHECK_INSERTION that found a way. */
    Out<std::vector<fitw_pose>> path(std::size_t finding) const {
        std::size_t need = 0;
        std::vector<fitw_pose> out;
        fitw_status status = fitw_check_path(context(), raw_, finding, nullptr, 0, &need);
        if (status == FITW_OK && need > 0) {
            out.resize(need);
            status = fitw_check_path(context(), raw_, finding, out.data(), need, &need);
        }
        return detail::done<std::vector<fitw_pose>>(session_, status, std::move(out));
    }
};

/* What the run of a job found. */
class Outcome : public detail::Handle<fitw_outcome, fitw_outcome_release> {
  public:
    using Handle::Handle;
    Out<std::string> json() const {
        fitw_str s = FITW_ZERO;
        fitw_status status = fitw_outcome_json(context(), raw_, &s);
        return detail::done<std::string>(session_, status, status == FITW_OK ? str(s) : std::string());
    }
    Out<fitw_outcome_info> describe() const { return ask(fitw_outcome_describe); }
    Out<Feature> feature(std::size_t index) const {
        fitw_feature *out = nullptr;
        fitw_status status = fitw_outcome_feature(context(), raw_, index, &out);
        return detail::made<Feature>(session_, status, out);
    }
    Out<Check> check() const {
        fitw_check *out = nullptr;
        fitw_status status = fitw_outcome_check(context(), raw_, &out);
        return detail::made<Check>(session_, status, out);
    }
    /* Writes what the command line writes; `flags`: 0 or FITW_OUTCOME_SCAN_MACHINE. */
    Out<void> write(const std::string &folder, uint32_t flags = 0) const {
        return detail::done(session_, fitw_outcome_write(context(), raw_, str(folder), flags));
    }
};

/* A job, read and validated. */
class Job : public detail::Handle<fitw_job, fitw_job_release> {
  public:
    using Handle::Handle;
    Out<Outcome> run() const {
        fitw_outcome *out = nullptr;
        fitw_status status = fitw_job_run(context(), raw_, &out);
        return detail::made<Outcome>(session_, status, out);
    }
};

/* One shape of a group, with the points of a region or of the host; what is named must outlive it. */
struct MemberOf {
    fitw_group_member raw;
    MemberOf(int32_t kind, const Region &region) : raw(of(kind)) { raw.region = region.get(); }
    MemberOf(int32_t kind, const fitw_points &points) : raw(of(kind)) { raw.points = &points; }

  private:
    static fitw_group_member of(int32_t kind) {
        fitw_group_member out = FITW_ZERO;
        out.kind = kind;
        return out;
    }
};

/* One datum: a feature, the machine axis its direction becomes, the coordinates it sets to zero. */
struct DatumOf {
    const Feature *feature;
    std::string axis;
    std::string sets;
    DatumOf(const Feature &of, std::string becomes, std::string zero = std::string())
        : feature(&of), axis(std::move(becomes)), sets(std::move(zero)) {}
};

/* What a part is held against; what is added must outlive it. */
class Scene {
  public:
    explicit Scene(const Part &part) : scene_(sized<fitw_scene>()), session_(part.session()) {
        scene_.part = part.get();
    }
    Scene(Scene &&) = default;
    Scene &operator=(Scene &&) = default;
    Scene(const Scene &) = delete;
    Scene &operator=(const Scene &) = delete;

    /* A scan with its pose; the place of it in the scene. */
    int32_t scan(const Scan &scan, const std::string &name, const fitw_pose &machine_from_scan = identity(),
                 const Join *join = nullptr, const fitw_length_error &error = length_error(0.0, 0.0)) {
        fitw_scene_scan s = FITW_ZERO;
        s.scan = scan.get();
        s.name = keep(name);
        s.machine_from_scan = machine_from_scan;
        s.join = join == nullptr ? nullptr : join->get();
        scans_.push_back(s);
        errors_.push_back(error);
        return static_cast<int32_t>(scans_.size()) - 1;
    }
    /* A feature, machine coordinates; the place of it in the scene. */
    int32_t feature(const Feature &feature, bool is_seat = false, const std::string &bolt = std::string(),
                    const Region *surface = nullptr, int32_t scan = -1, double keep_clear_mm = 0.0) {
        fitw_scene_feature f = FITW_ZERO;
        f.feature = feature.get();
        f.surface = surface == nullptr ? nullptr : surface->get();
        f.scan = scan;
        f.is_seat = is_seat ? 1 : 0;
        f.keep_clear_mm = keep_clear_mm;
        f.bolt = keep(bolt);
        features_.push_back(f);
        return static_cast<int32_t>(features_.size()) - 1;
    }
    /* Where the part is bolted on: places of hole and seat (-1: none); length of that bolt under its head for the
       tools (0: as they say). */
    void mount(int32_t hole, int32_t seat, const Point &near_mm, double bolt_length_mm = 0.0) {
        fitw_mount m = FITW_ZERO;
        m.hole = hole;
        m.seat = seat;
        for (std::size_t k = 0; k < 3; ++k) m.near_mm[k] = near_mm[k];
        mounts_.push_back(m);
        bolt_lengths_.push_back(bolt_length_mm);
    }
    /* Another designed part in the machine; the place of it in the scene. With `touches` only overlap is a fail. */
    int32_t other_part(const Part &part, const std::string &name, bool touches = false, double keep_clear_mm = 0.0) {
        fitw_other_part o = FITW_ZERO;
        o.part = part.get();
        o.name = keep(name);
        o.keep_clear_mm = keep_clear_mm;
        o.touches = touches ? 1 : 0;
        other_parts_.push_back(o);
        return static_cast<int32_t>(other_parts_.size()) - 1;
    }
    void datum(const Datum &datum) { scene_.datum = datum.get(); }
    /* Space for tools is checked too; the struct made by sized<fitw_tool_limits>(). Lengths of single bolts are those
       of the mounts, unless it has its own. */
    void tools(const fitw_tool_limits &limits) { tools_.assign(1, limits); }
    /* The way of the part to its seat is checked too; what `without` and `without_parts` point to must outlive the
       check. */
    void insertion(const fitw_insertion_limits &limits) { insertion_.assign(1, limits); }
    /* What moves (FITW_MOVING_…, its place among features, scans or other parts) and how, the first movement acting first; a box
       has two corners, a sphere its centre and (radius, 0, 0). clearance_mm as in a feature. */
    void motion(const std::string &name, int32_t moving, int32_t place, const std::vector<fitw_scene_move> &moves,
                double clearance_mm = 0.0, const Point &low_mm = Point(), const Point &high_mm = Point()) {
        moves_.push_back(moves);
        fitw_scene_motion m = FITW_ZERO;
        m.name = keep(name);
        m.moving = moving;
        m.place = place;
        for (std::size_t k = 0; k < 3; ++k) {
            m.low_mm[k] = low_mm[k];
            m.high_mm[k] = high_mm[k];
        }
        m.clearance_mm = clearance_mm;
        m.moves = moves_.back().data();
        m.move_count = moves_.back().size();
        motions_.push_back(m);
    }
    /* What machine and part are warmed to; the first mount's bolt stays, or a point. */
    void temperature(const fitw_warming &machine, const fitw_warming &part, const Point *fixed_mm = nullptr) {
        temperature_ = sized<fitw_temperature>();
        temperature_.machine = machine;
        temperature_.part = part;
        if (fixed_mm != nullptr) {
            temperature_.flags = FITW_TEMPERATURE_FIXED;
            for (std::size_t k = 0; k < 3; ++k) temperature_.fixed_mm[k] = (*fixed_mm)[k];
        }
        warmed_ = true;
    }
    /* Limits: clearance_mm, seat_tolerance_mm, unseen_reach_mm. */
    fitw_scene &raw() noexcept { return scene_; }

    /* Every check. */
    Out<Check> check() const {
        fitw_check *out = nullptr;
        fitw_tool_limits tools = FITW_ZERO;
        fitw_scene scene = whole(tools);
        fitw_status status = fitw_check_run(detail::raw(session_), &scene, &out);
        return detail::made<Check>(session_, status, out);
    }
    /* The finished part's scan against the model, and every check with the part as made. `deviations`, if given, gets
     * the distance of each of the scan's points from the model, mm. */
    Out<Check> made(const Scan &scan, double tolerance_mm = 0.0, int32_t laid_on = FITW_LAID_ON_MODEL,
                    const fitw_pose *start = nullptr, fitw_pose *part_from_scan = nullptr,
                    std::vector<double> *deviations = nullptr) const {
        fitw_check *out = nullptr;
        fitw_tool_limits tools = FITW_ZERO;
        fitw_scene scene = whole(tools);
        fitw_made made = sized<fitw_made>();
        made.laid_on = laid_on;
        made.scan = scan.get();
        made.start = start;
        made.tolerance_mm = tolerance_mm;
        if (deviations != nullptr) {
            fitw_scan_info info = sized<fitw_scan_info>();
            fitw_status status = fitw_scan_describe(detail::raw(session_), scan.get(), &info);
            if (status != FITW_OK) return detail::made<Check>(session_, status, out);
            deviations->resize(static_cast<std::size_t>(info.point_count));
        }
        fitw_status status = fitw_check_made(detail::raw(session_), &scene, &made, part_from_scan,
                                             deviations == nullptr ? nullptr : deviations->data(),
                                             deviations == nullptr ? 0 : deviations->size(), &out);
        return detail::made<Check>(session_, status, out);
    }
    /* Signed clearance of each corner of the part's mesh, mm. */
    Out<std::vector<double>> clearance() const {
        fitw_tool_limits tools = FITW_ZERO;
        fitw_scene scene = whole(tools);
        std::size_t need = 0;
        std::vector<double> out;
        fitw_status status = fitw_check_clearance(detail::raw(session_), &scene, nullptr, 0, &need);
        if (status == FITW_OK) {
            out.resize(need);
            status = fitw_check_clearance(detail::raw(session_), &scene, out.data(), need, &need);
        }
        return detail::done<std::vector<double>>(session_, status, std::move(out));
    }

  private:
    fitw_str keep(const std::string &s) {
        texts_.push_back(s);
        return str(texts_.back());
    }
    /* `tools` must live as long as what is returned. */
    fitw_scene whole(fitw_tool_limits &tools) const {
        fitw_scene out = scene_;
        out.scans = scans_.data();
        out.scan_count = scans_.size();
        out.length_errors = errors_.empty() ? nullptr : errors_.data();
        out.features = features_.data();
        out.feature_count = features_.size();
        out.mounts = mounts_.data();
        out.mount_count = mounts_.size();
        if (!tools_.empty()) {
            tools = tools_.front();
            if (tools.bolt_lengths_mm == nullptr && !bolt_lengths_.empty()) tools.bolt_lengths_mm = bolt_lengths_.data();
            out.tools = &tools;
        }
        out.other_parts = other_parts_.empty() ? nullptr : other_parts_.data();
        out.other_part_count = other_parts_.size();
        out.insertion = insertion_.empty() ? nullptr : insertion_.data();
        out.motions = motions_.data();
        out.motion_count = motions_.size();
        out.temperature = warmed_ ? &temperature_ : nullptr;
        return out;
    }
    fitw_scene scene_;
    detail::Shared session_;
    std::list<std::string> texts_;
    std::vector<fitw_scene_scan> scans_;
    std::vector<fitw_length_error> errors_;
    std::vector<fitw_scene_feature> features_;
    std::vector<fitw_mount> mounts_;
    std::vector<double> bolt_lengths_;
    std::vector<fitw_other_part> other_parts_;
    std::vector<fitw_tool_limits> tools_;
    std::vector<fitw_insertion_limits> insertion_;
    std::list<std::vector<fitw_scene_move>> moves_;
    std::vector<fitw_scene_motion> motions_;
    fitw_temperature temperature_ = FITW_ZERO;
    bool warmed_ = false;
};

/* A named body of a mesh file; what it is of, its name and the pose must outlive the call that writes it. */
class Body {
public:
    Body(const std::string &name, const Scan &scan) : name_(name) { body_.scan = scan.get(); }
    Body(const std::string &name, const Part &part) : name_(name) { body_.part = part.get(); }
    Body(const std::string &name, const Feature &feature) : name_(name) { body_.feature = feature.get(); }
    Body &colour(uint8_t red, uint8_t green, uint8_t blue) {
        body_.colour = uint32_t(red) << 16 | uint32_t(green) << 8 | blue, body_.has_colour = 1;
        return *this;
    }
    Body &at(const fitw_pose &pose) {
        body_.pose = &pose;
        return *this;
    }
    fitw_body raw() const {
        fitw_body body = body_;
        body.name = str(name_);
        return body;
    }

private:
    std::string name_;
    fitw_body body_ = FITW_ZERO;
};

/* How a context is made. */
struct ContextOptions {
    int32_t threads = 0;       /* 0: one; FITW_THREADS_ALL */
    uint64_t memory_limit = 0; /* bytes; 0: none */
    Progress progress;
    Log log;
};

/* Threads, callbacks, limits, and the place of the last error. */
class Context {
  public:
    Context() = default;
    Context(Context &&) noexcept = default;
    Context &operator=(Context &&) noexcept = default;
    Context(const Context &) = delete;
    Context &operator=(const Context &) = delete;

    /* Makes one. */
    static Out<Context> create(const ContextOptions &options = ContextOptions()) {
        Context out;
        out.session_ = std::make_shared<detail::Session>();
        detail::Session &session = *out.session_;
        session.progress = options.progress;
        session.log = options.log;
        fitw_context_options raw = sized<fitw_context_options>();
        raw.threads = options.threads;
        raw.memory_limit = options.memory_limit;
        raw.progress = session.progress ? detail::on_progress : nullptr;
        raw.progress_user = &session;
        raw.log = session.log ? detail::on_log : nullptr;
        raw.log_user = &session;
        fitw_status status = fitw_context_create(&raw, &session.raw);
        detail::Shared shared = out.session_;
        return detail::done<Context>(shared, status, std::move(out));
    }

    fitw_context *get() const noexcept { return detail::raw(session_); }
    const detail::Shared &session() const noexcept { return session_; }
    void cancel() const noexcept { fitw_context_cancel(get()); }
    void resume() const noexcept { fitw_context_resume(get()); }
    Out<uint64_t> memory() const {
        uint64_t out = 0;
        fitw_status status = fitw_context_memory(get(), &out);
        return detail::done<uint64_t>(session_, status, out);
    }

    /* A scan of arrays, copied. */
    Out<Scan> scan(const Mesh &mesh) const {
        fitw_scan *out = nullptr;
        fitw_status status = mesh.whole() ? fitw_scan_create(get(), &mesh.raw(), &out) : FITW_E_ARGUMENT;
        return detail::made<Scan>(session_, status, out);
    }
    /* A scan of arrays that stay where they are until `release` is called, on any thread. */
    Out<Scan> borrow(const Mesh &mesh, std::function<void()> release) const {
        fitw_mesh raw = mesh.raw();
        fitw_scan *out = nullptr;
        std::unique_ptr<std::function<void()>> user(new std::function<void()>(std::move(release)));
        raw.flags |= FITW_MESH_BORROW;
        raw.release = detail::on_release;
        raw.release_user = user.get();
        fitw_status status = mesh.whole() ? fitw_scan_create(get(), &raw, &out) : FITW_E_ARGUMENT;
        if (status == FITW_OK) static_cast<void>(user.release());
        return detail::made<Scan>(session_, status, out);
    }
    Out<Scan> read_scan(const std::string &path, int32_t unit = FITW_UNIT_MM,
                        const fitw_scan_options &options = sized<fitw_scan_options>()) const {
        fitw_scan *out = nullptr;
        fitw_status status = fitw_scan_read(get(), str(path), unit, &options, &out);
        return detail::made<Scan>(session_, status, out);
    }
    /* Every fitter. */
    Out<std::vector<fitw_fitter_info>> fitters() const {
        std::size_t count = 0;
        fitw_status status = fitw_fitter_count(get(), &count);
        std::vector<fitw_fitter_info> out(count, sized<fitw_fitter_info>());
        for (std::size_t k = 0; k < count && status == FITW_OK; ++k)
            status = fitw_fitter_describe(get(), k, &out[k]);
        return detail::done<std::vector<fitw_fitter_info>>(session_, status, std::move(out));
    }
    /* Options of a fitter by its place in fitters(). */
    Out<std::vector<fitw_option_info>> fitter_options(std::size_t index) const {
        std::size_t count = 0;
        fitw_status status = fitw_fitter_option_count(get(), index, &count);
        std::vector<fitw_option_info> out(count, sized<fitw_option_info>());
        for (std::size_t k = 0; k < count && status == FITW_OK; ++k)
            status = fitw_fitter_option(get(), index, k, &out[k]);
        return detail::done<std::vector<fitw_option_info>>(session_, status, std::move(out));
    }
    /* Loads the plug-in of a folder, or all in it, for this context's fits and jobs; how many were loaded. Only
     * folders that you or your user named. */
    Out<std::size_t> load_plugins(const std::string &folder, const PluginOptions &options = PluginOptions()) const {
        fitw_plugin_options raw = sized<fitw_plugin_options>();
        raw.trust = options.trust ? 1 : 0;
        raw.worker = str(options.worker);
        raw.time_limit_s = options.time_limit_s;
        raw.memory_limit_bytes = options.memory_limit_bytes;
        std::size_t loaded = 0;
        fitw_status status = fitw_plugins_load(get(), str(folder), &raw, &loaded);
        return detail::done<std::size_t>(session_, status, loaded);
    }
    /* Plug-ins that are loaded. */
    Out<std::vector<fitw_plugin_info>> plugins() const {
        std::size_t count = 0;
        fitw_status status = fitw_plugin_count(get(), &count);
        std::vector<fitw_plugin_info> out(count, sized<fitw_plugin_info>());
        for (std::size_t k = 0; k < count && status == FITW_OK; ++k)
            status = fitw_plugin_describe(get(), k, &out[k]);
        return detail::done<std::vector<fitw_plugin_info>>(session_, status, std::move(out));
    }
    /* Plug-ins that were refused, and why. */
    Out<std::vector<fitw_refusal>> refused_plugins() const {
        std::size_t count = 0;
        fitw_status status = fitw_plugin_refused_count(get(), &count);
        std::vector<fitw_refusal> out(count, sized<fitw_refusal>());
        for (std::size_t k = 0; k < count && status == FITW_OK; ++k)
            status = fitw_plugin_refused(get(), k, &out[k]);
        return detail::done<std::vector<fitw_refusal>>(session_, status, std::move(out));
    }
    /* Importers of the loaded plug-ins; one is named in fitw_part_options. */
    Out<std::vector<fitw_importer_info>> importers() const {
        std::size_t count = 0;
        fitw_status status = fitw_importer_count(get(), &count);
        std::vector<fitw_importer_info> out(count, sized<fitw_importer_info>());
        for (std::size_t k = 0; k < count && status == FITW_OK; ++k)
            status = fitw_importer_describe(get(), k, &out[k]);
        return detail::done<std::vector<fitw_importer_info>>(session_, status, std::move(out));
    }
    /* Fits to points of the host; x, y, z side by side, mm. */
    Out<Fit> fit(const std::string &fitter, Span<const double> xyz, const FitOptions &options = FitOptions(),
                 double noise_mm = 0.0) const {
        fitw_points points = sized<fitw_points>();
        points.points = xyz.data();
        points.count = xyz.size() / 3;
        points.noise_mm = noise_mm;
        return fit(fitter, points, options);
    }
    Out<Fit> fit(const std::string &fitter, const fitw_points &points, const FitOptions &options) const {
        const detail::RawFit raw(options);
        fitw_fit *out = nullptr;
        fitw_status status = fitw_fit_points(get(), str(fitter), &points, raw.get(), &out);
        return detail::made<Fit>(session_, status, out);
    }
    /* Shapes that share an axis, centre, plane or direction: FITW_GROUP_…. */
    Out<Group> fit_group(const std::vector<MemberOf> &members, int32_t relation,
                         const FitOptions &options = FitOptions()) const {
        std::vector<fitw_group_member> raw;
        for (const MemberOf &m : members) raw.push_back(m.raw);
        const detail::RawFit with(options);
        std::vector<fitw_fit *> fits(raw.size(), nullptr);
        Group out;
        fitw_status status =
            fitw_group_fit(get(), raw.data(), raw.size(), 0, relation, with.get(), fits.data(), &out.cost);
        for (fitw_fit *fit : fits) out.fits.push_back(Fit(session_, fit));
        return detail::done<Group>(session_, status, std::move(out));
    }
    /* What fits to surfaces of one scan, and features of such fits, tell of its noise. */
    Out<Noise> pool_noise(const std::vector<const Fit *> &fits,
                          const std::vector<const Feature *> &features = std::vector<const Feature *>()) const {
        std::vector<const fitw_fit *> raw;
        for (const Fit *f : fits) raw.push_back(f == nullptr ? nullptr : f->get());
        const std::vector<const fitw_feature *> more = handles(features);
        fitw_noise *out = nullptr;
        fitw_status status = fitw_noise_pool(get(), raw.data(), raw.size(), more.data(), more.size(), &out);
        return detail::made<Noise>(session_, status, out);
    }
    /* Noise that is independent from point to point. */
    Out<Noise> independent_noise() const {
        fitw_noise *out = nullptr;
        fitw_status status = fitw_noise_independent(get(), &out);
        return detail::made<Noise>(session_, status, out);
    }
    /* Standard deviation that an error of length makes of a length, mm. */
    Out<double> deviation(const fitw_length_error &error, double length_mm) const {
        double out = 0.0;
        fitw_status status = fitw_length_error_deviation(get(), &error, length_mm, &out);
        return detail::done<double>(session_, status, out);
    }
    /* Coefficient of linear expansion of a material and half its range, 1/K. */
    Out<std::pair<double, double>> expansion(const std::string &material) const {
        std::pair<double, double> out(0.0, 0.0);
        fitw_status status = fitw_material_expansion(get(), str(material), &out.first, &out.second);
        return detail::done<std::pair<double, double>>(session_, status, out);
    }
    /* Distances of points from a shape, mm. */
    Out<std::vector<double>> distances(const fitw_shape &shape, Span<const double> xyz) const {
        std::vector<double> out(xyz.size() / 3);
        fitw_status status = fitw_shape_distances(get(), &shape, xyz.data(), out.size(), 0, out.data());
        return detail::done<std::vector<double>>(session_, status, std::move(out));
    }
    /* A round hole in a plane; `face_region` are all of the plane's points. */
    Out<Hole> find_hole(const std::string &name, const Feature &face, const Region &face_region, const Point &pick,
                        double largest_radius_mm = 0.0, const FitOptions &options = FitOptions()) const {
        fitw_hole_search search = sized<fitw_hole_search>();
        search.name = str(name);
        search.face = face.get();
        search.face_region = face_region.get();
        for (std::size_t k = 0; k < 3; ++k) search.pick_mm[k] = pick[k];
        search.largest_radius_mm = largest_radius_mm;
        const detail::RawFit raw(options);
        fitw_feature *hole = nullptr;
        fitw_region *wall = nullptr;
        fitw_status status = fitw_feature_find_hole(get(), &search, raw.get(), &hole, &wall);
        Hole out;
        out.feature = Feature(session_, hole);
        out.wall = Region(session_, wall);
        return detail::done<Hole>(session_, status, std::move(out));
    }
    /* One to three datums, the primary first. */
    Out<Datum> datum(const std::vector<DatumOf> &datums) const {
        std::vector<fitw_datum_feature> raw;
        for (const DatumOf &d : datums) {
            fitw_datum_feature f = FITW_ZERO;
            f.feature = d.feature->get();
            f.axis = str(d.axis);
            f.sets = str(d.sets);
            raw.push_back(f);
        }
        fitw_datum *out = nullptr;
        fitw_status status = fitw_datum_create(get(), raw.data(), raw.size(), 0, &out);
        return detail::made<Datum>(session_, status, out);
    }
    /* Target centres seen in both scans; x, y, z side by side. */
    Out<Join> join_by_targets(Span<const double> to, Span<const double> from,
                              const fitw_join_options &options = sized<fitw_join_options>()) const {
        fitw_join *out = nullptr;
        fitw_status status = fitw_join_by_targets(get(), to.data(), to.size() / 3, 0, from.data(),
                                                  from.size() / 3, 0, &options, &out);
        return detail::made<Join>(session_, status, out);
    }
    Out<Join> join_by_surface(const Scan &to, const Scan &from, const fitw_pose *start = nullptr,
                              const fitw_join_options &options = sized<fitw_join_options>()) const {
        fitw_join *out = nullptr;
        fitw_status status = fitw_join_by_surface(get(), to.get(), from.get(), start, &options, &out);
        return detail::made<Join>(session_, status, out);
    }
    /* Scans adjusted all together, see started(). */
    Out<Adjustment> adjust(Span<const fitw_started_scan> scans,
                           const fitw_adjust_options &options = sized<fitw_adjust_options>()) const {
        fitw_adjustment *out = nullptr;
        fitw_status status = fitw_adjustment_create(get(), scans.data(), scans.size(), 0, &options, &out);
        return detail::made<Adjustment>(session_, status, out);
    }
    /* Joined scans as one, see placed(). */
    Out<Merged> merge(Span<const fitw_placed_scan> scans,
                      const fitw_merge_options &options = sized<fitw_merge_options>()) const {
        fitw_merged *out = nullptr;
        fitw_status status = fitw_merged_create(get(), scans.data(), scans.size(), 0, &options, &out);
        return detail::made<Merged>(session_, status, out);
    }
    /* The datum system that a run saved (datum.json). */
    Out<SavedDatum> read_saved_datum(const std::string &path) const {
        fitw_saved_datum *out = nullptr;
        fitw_status status = fitw_saved_datum_read(get(), str(path), &out);
        return detail::made<SavedDatum>(session_, status, out);
    }
    /* The same from the file's text. */
    Out<SavedDatum> saved_datum(const std::string &json) const {
        fitw_saved_datum *out = nullptr;
        fitw_status status = fitw_saved_datum_parse(get(), str(json), &out);
        return detail::made<SavedDatum>(session_, status, out);
    }
    /* Features that are the same in both scans, see same(). */
    Out<Join> join_by_features(Span<const fitw_same_feature> same,
                               const fitw_join_options &options = sized<fitw_join_options>()) const {
        fitw_join *out = nullptr;
        fitw_status status = fitw_join_by_features(get(), same.data(), same.size(), 0, &options, &out);
        return detail::made<Join>(session_, status, out);
    }
    Out<Join> join_from_unknown_start(const Scan &to, const Scan &from,
                                      const fitw_join_options &options = sized<fitw_join_options>()) const {
        fitw_join *out = nullptr;
        fitw_status status = fitw_join_from_unknown_start(get(), to.get(), from.get(), &options, &out);
        return detail::made<Join>(session_, status, out);
    }
    /* Features as STEP in machine coordinates, in memory. */
    Out<std::string> step_text(const std::vector<const Feature *> &features,
                               const fitw_pose *machine_from_scan = nullptr,
                               const fitw_step_options &options = sized<fitw_step_options>()) const {
        const std::vector<const fitw_feature *> raw = handles(features);
        fitw_text *file = nullptr;
        fitw_status status = fitw_step_text(get(), machine_from_scan, raw.data(), raw.size(), &options, &file);
        return detail::told(session_, status, file);
    }
    Out<void> step_write(const std::string &path, const std::vector<const Feature *> &features,
                         const fitw_pose *machine_from_scan = nullptr,
                         const fitw_step_options &options = sized<fitw_step_options>()) const {
        const std::vector<const fitw_feature *> raw = handles(features);
        return detail::done(session_, fitw_step_write(get(), str(path), machine_from_scan, raw.data(), raw.size(),
                                                      &options));
    }
    Out<Part> read_part(const std::string &path,
                        const fitw_part_options &options = sized<fitw_part_options>()) const {
        fitw_part *out = nullptr;
        fitw_status status = fitw_part_read(get(), str(path), &options, &out);
        return detail::made<Part>(session_, status, out);
    }
    Out<Part> part(const Mesh &mesh, const std::string &name = std::string()) const {
        fitw_part *out = nullptr;
        fitw_status status =
            mesh.whole() ? fitw_part_create(get(), &mesh.raw(), str(name), &out) : FITW_E_ARGUMENT;
        return detail::made<Part>(session_, status, out);
    }
    /* Scans, parts and features as one mesh file, whose extension says the format. */
    Out<void> write_meshes(const std::string &path, const std::vector<Body> &bodies) const {
        std::vector<fitw_body> raw;
        for (const Body &body : bodies) raw.push_back(body.raw());
        return detail::done(session_, fitw_meshes_write(get(), str(path), raw.data(), raw.size(), 0));
    }
    /* JSON schema of job files. */
    Out<std::string> job_schema() const {
        fitw_text *file = nullptr;
        fitw_status status = fitw_job_schema(get(), &file);
        return detail::told(session_, status, file);
    }
    /* A job from its text; paths in it are relative to `folder`. */
    Out<Job> job(const std::string &toml, const std::string &folder = std::string()) const {
        fitw_job *out = nullptr;
        fitw_status status = fitw_job_create(get(), str(toml), str(folder), &out);
        return detail::made<Job>(session_, status, out);
    }

  private:
    static std::vector<const fitw_feature *> handles(const std::vector<const Feature *> &features) {
        std::vector<const fitw_feature *> out;
        for (const Feature *f : features) out.push_back(f == nullptr ? nullptr : f->get());
        return out;
    }
    detail::Shared session_;
};

inline Out<Fit> Region::fit(const std::string &fitter, const FitOptions &options) const {
    const detail::RawFit raw(options);
    fitw_fit *out = nullptr;
    fitw_status status = fitw_fit_region(context(), str(fitter), raw_, raw.get(), &out);
    return detail::made<Fit>(session_, status, out);
}

inline Out<Feature> Fit::feature(const std::string &name, const Region &surface) const {
    fitw_feature *out = nullptr;
    fitw_status status = fitw_feature_from_fit(context(), str(name), raw_, surface.get(), &out);
    return detail::made<Feature>(session_, status, out);
}

inline Out<Feature> Feature::join(const Join &join) const {
    fitw_feature *out = nullptr;
    fitw_status status = fitw_feature_join(context(), raw_, join.get(), &out);
    return detail::made<Feature>(session_, status, out);
}


} /* inline namespace */
} /* namespace fitwright */

#undef FITWRIGHT_TRY
#undef FITWRIGHT_CATCH_ALL
#undef FITWRIGHT_CURRENT

#endif /* FITWRIGHT_HPP */
