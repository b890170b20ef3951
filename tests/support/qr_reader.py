# SPDX-License-Identifier: MIT
"""Reads a QR code that is drawn without a fault, after ISO/IEC 18004: versions 1 to 6, level M, bytes. No error correction."""

# Table 9, level M: blocks and data codewords of each.
DATA_BLOCKS_M = {1: [16], 2: [28], 3: [44], 4: [32, 32], 5: [43, 43], 6: [27, 27, 27, 27]}
ALIGNMENT = {1: [], 2: [6, 18], 3: [6, 22], 4: [6, 26], 5: [6, 30], 6: [6, 34]}  # table E.1
MASKS = [lambda i, j: (i + j) % 2, lambda i, j: i % 2, lambda i, j: j % 3, lambda i, j: (i + j) % 3,
         lambda i, j: (i // 2 + j // 3) % 2, lambda i, j: i * j % 2 + i * j % 3, lambda i, j: (i * j % 2 + i * j % 3) % 2,
         lambda i, j: ((i + j) % 2 + i * j % 3) % 2]  # table 10
LEVEL_M = 0b00  # table 12
QUIET = 4


def read_half_blocks(lines):
    """The text of a code drawn with light ink on dark: ink is a light module."""
    rows = []
    for line in lines:
        rows.append([cell not in "█▀" for cell in line])
        rows.append([cell not in "█▄" for cell in line])
    if all(rows[-1]):  # the half of the last line that is no part of the code
        rows.pop()
    size = len(rows[0]) - 2 * QUIET
    for ring in range(QUIET):
        assert not any(rows[ring]) and not any(row[ring] or row[-1 - ring] for row in rows), "the quiet zone is not light"
    return read([row[QUIET:-QUIET] for row in rows[QUIET:QUIET + size]])


def is_function(size, version, row, column):
    corner = (row < 9 and column < 9) or (row < 9 and column >= size - 8) or (row >= size - 8 and column < 9)
    centres = ALIGNMENT[version]
    aligned = any(abs(row - a) <= 2 and abs(column - b) <= 2 for a in centres for b in centres
                  if not ((a == 6 and b == 6) or (a == 6 and b == size - 7) or (a == size - 7 and b == 6)))
    return corner or aligned or row == 6 or column == 6


def placed(size, version):
    """Modules in the order of their bits [7.7.3]: two columns at a time from the right, up and down by turns."""
    upwards, right = True, size - 1
    while right > 0:
        right -= right == 6
        for row in (range(size - 1, -1, -1) if upwards else range(size)):
            for column in (right, right - 1):
                if not is_function(size, version, row, column):
                    yield row, column
        upwards, right = not upwards, right - 2


def read(modules):
    size = len(modules)
    version = (size - 17) // 4
    form = [modules[8][column] for column in (0, 1, 2, 3, 4)]  # its first five bits, masked with 10101 [7.9]
    form = sum(bit << (4 - i) for i, bit in enumerate(form)) ^ 0b10101
    assert form >> 3 == LEVEL_M, form
    mask = MASKS[form & 7]
    bits = [modules[row][column] ^ (mask(row, column) == 0) for row, column in placed(size, version)]
    words = [sum(bit << (7 - i) for i, bit in enumerate(bits[n:n + 8])) for n in range(0, len(bits) - 7, 8)]
    blocks = DATA_BLOCKS_M[version]
    taken = iter(words)
    data = [[] for _ in blocks]
    for position in range(max(blocks)):  # by turns [7.6]
        for block, length in zip(data, blocks):
            if position < length:
                block.append(next(taken))
    stream = "".join(f"{word:08b}" for block in data for word in block)
    assert stream[:4] == "0100", "not in byte mode"
    length = int(stream[4:12], 2)
    return bytes(int(stream[12 + 8 * n:20 + 8 * n], 2) for n in range(length)).decode()
