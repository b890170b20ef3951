# Puts sources into batches, each compiled as one file: awk -v most=N -f batches.awk FILE… prints "FILE BATCH" for each.
#
# Two sources share a batch only when no name that one has in its unnamed namespace is defined there, called or used as a type by
# the other, which may mean another one by it. Those with most such names, which fit fewest, are placed first: fewer batches are
# left, and headers are read less often. One that includes a header with macros in small
# letters, as those for terminals have them, is by itself. Namespaces that a source opens to all names at its margin would be open
# to the others of its batch too: they share one only when they open the same.

function note(list, file, name) {
  if (name == "" || (list, file, name) in noted) return
  noted[list, file, name] = 1
  if (list == "own") { own[file] = own[file] " " name; ++names_of_its_own[file] }
  else used[file] = used[file] " " name
}

# The name that a line at the margin of an unnamed namespace defines.
function defined_in(line) {
  if (line !~ /[({=;\[]/ || line ~ /^using namespace |^TEST_CASE/) return ""
  sub(/[({=;\[].*/, "", line)
  sub(/ (:|final).*/, "", line)
  sub(/ *$/, "", line)
  sub(/.*[^A-Za-z0-9_]/, "", line)
  return line
}

# The second and later names of a line that defines several constants.
function note_others(line,   name) {
  while (match(line, /, [A-Za-z_][A-Za-z0-9_]*( =|\{)/)) {
    name = substr(line, RSTART + 2, RLENGTH - 2)
    sub(/[^A-Za-z0-9_].*/, "", name)
    note("own", FILENAME, name)
    line = substr(line, RSTART + RLENGTH)
  }
}

# What is called, and what begins with a capital letter as types do.
function note_uses(line,   before, word) {
  sub(/\/\/.*/, "", line)
  while (match(line, /[A-Za-z_][A-Za-z0-9_]*/)) {
    before = substr(line, 1, RSTART - 1)
    word = substr(line, RSTART, RLENGTH)
    line = substr(line, RSTART + RLENGTH)
    if (before !~ /(\.|->|::)$/ && (line ~ /^[({<]/ || word ~ /^[A-Z]/)) note("used", FILENAME, word)
  }
}

FNR == 1 { files[++count] = FILENAME; inside = 0 }
{ note_uses($0) }
/^using namespace / { opened[FILENAME, $3] = 1; namespaces[FILENAME] = namespaces[FILENAME] " " $3 }
/^#include <(n?curses|term)/ { alone[FILENAME] = 1 }
/^namespace \{/ { inside = 1; next }
/^\}  \/\/ namespace$/ { inside = 0 }
inside && /^[A-Za-z_:]/ && !/^template/ { note("own", FILENAME, defined_in($0)) }
inside && /^const/ { note_others($0) }

function meets(list, names, batch,   one, n, i) {
  n = split(names, one, " ")
  for (i = 1; i <= n; ++i) if ((list, batch, one[i]) in taken) return 1
  return 0
}

function opens_all(file, other,   one, n, i) {
  n = split(namespaces[other], one, " ")
  for (i = 1; i <= n; ++i) if (!((file, one[i]) in opened)) return 0
  return 1
}

function fits(file, batch) {
  if (size[batch] && !(opens_all(file, first[batch]) && opens_all(first[batch], file))) return 0
  if (alone[file]) return size[batch] == 0
  return size[batch] < most && !meets("own", own[file], batch) && !meets("used", own[file], batch) && !meets("own", used[file], batch)
}

function take(list, names, batch,   one, n, i) {
  n = split(names, one, " ")
  for (i = 1; i <= n; ++i) taken[list, batch, one[i]] = 1
}

# The files in the order in which they are placed.
function most_names_first(   i, k, file) {
  for (i = 2; i <= count; ++i) {
    file = files[i]
    for (k = i - 1; k > 0 && names_of_its_own[files[k]] < names_of_its_own[file]; --k) files[k + 1] = files[k]
    files[k + 1] = file
  }
}

END {
  most_names_first()
  for (f = 1; f <= count; ++f) {
    file = files[f]
    for (number = 1; !fits(file, number); ++number) continue
    if (!size[number]) first[number] = file
    size[number] += alone[file] ? most : 1
    take("own", own[file], number)
    take("used", used[file], number)
    print file, number
  }
}
