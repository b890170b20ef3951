// SPDX-License-Identifier: MIT
// Marks the inner loops that are compiled twice, for any x86-64 and for one with AVX2 and FMA, and
// chosen at start.
#pragma once

// Sanitizers run before the resolver that picks the variant can, so the sanitized build has one
// variant.
#if defined(__x86_64__) && defined(__GNUC__) && !defined(__clang__) && \
    !defined(__SANITIZE_ADDRESS__) && !defined(__SANITIZE_THREAD__) && defined(__OPTIMIZE__)
#define RAILTAP_VECTORIZE __attribute__((target_clones("default", "arch=x86-64-v3")))
#else
#define RAILTAP_VECTORIZE
#endif
