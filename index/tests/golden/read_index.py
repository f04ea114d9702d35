"""Reads an index file as docs/format.md describes it, and checks every byte of it.

    python read_index.py FILE.index

Written from the page alone, with NumPy and zlib. Prints one line per live curve: its id, and the CRC-32 of
its values; ends with an error where the file and the page disagree.
"""

import struct
import sys
import zlib

import numpy as np

PAD = 2**32 - 1
NAMES = {
    1: "curves", 2: "ids", 3: "id order", 4: "deleted", 5: "quantiser", 6: "order", 7: "places",
    8: "block boxes", 9: "group boxes", 10: "sketches", 11: "coarse", 12: "runs", 13: "retired",
    14: "cluster starts", 15: "representatives", 16: "reach steps", 17: "reaches", 18: "widest reaches",
}


def check(holds, what):
    if not holds:
        sys.exit(f"read_index: {what}: not as the page says")


def header(data):
    magic, version, frames, channels, *constants, crc = struct.unpack_from("<8s8I", data)
    check(magic == b"CURVEIDX" and version == 3, "header")
    check(constants == [16, 8, 8, 32], "constants")
    check(zlib.crc32(data[:36]) == crc, "checksum of the header")
    return frames, channels


def commit(data):
    valid = []
    for at in (4096, 8192):
        record = data[at : at + 40]
        if record == bytes(40):
            continue
        check(record[:8] == b"CURVECMT", "commit record")
        sequence, start, length, crc, own = struct.unpack_from("<3Q2I", record, 8)
        check(zlib.crc32(record[:36]) == own, "checksum of a commit record")
        check((at == 4096) == (sequence % 2 == 0), "place of a commit record")
        valid.append((sequence, start, length, crc))
    check(valid, "commit records")
    return max(valid)


def manifest(data, start, length, crc):
    check(zlib.crc32(data[start : start + length]) == crc, "checksum of the manifest")
    at = start
    (count,) = struct.unpack_from("<Q", data, at)
    at += 8
    segments = []
    known = [(0, 40), (4096, 4136), (8192, 8232), (start, start + length)]
    for _ in range(count):
        rows, sections = struct.unpack_from("<2Q", data, at)
        at += 16
        found = {}
        for _ in range(sections):
            kind, crc, offset, size = struct.unpack_from("<2I2Q", data, at)
            at += 24
            check(offset % 64 == 0, f"place of section {kind}")
            body = data[offset : offset + size]
            check(zlib.crc32(body) == crc, f"checksum of section {kind}")
            check(kind != 13 or not segments, "segment of what is retired")
            known.append((offset, offset + size))
            found[NAMES.get(kind, kind)] = body
        segments.append((rows, found))
    check(at == start + length, "length of the manifest")

    # Whatever nobody tells of, before the free space, is 0.
    end = 0
    for first, behind in sorted(known):
        check(end <= first and not any(data[end:first]), f"space before byte {first}")
        end = behind
    free = -(-end // 64) * 64
    check(end == start + length and len(data) >= free and not any(data[end:free]), "end")
    return segments


def pairs(frames, channels):
    """(channel, first segment, second segment) in the order of the sketch."""
    half = max(1, frames // 2)
    count = min(32, max(1, (half + 4) // 8))
    spans, start = [], 0
    for s in range(count):
        length = half * (s + 1) // count - half * s // count
        spans.append((range(start, start + length), range(start + length, start + 2 * length)))
        start += 2 * length
    in_order = list(range(0, count, 2)) + list(range(1, count, 2))
    cut = lambda span: [frame for frame in span if frame < frames]
    return [(c, *map(cut, spans[s])) for s in in_order for c in range(channels)]


def codes(values, offset, step):
    return np.clip(np.floor((values - offset) / step), 0, 255).astype(np.uint8)


def boxes(lanes, lows, highs, width):
    """Registers of boxes around `width` sketches each, sixteen boxes side by side."""
    groups = -(-len(lanes) // width)
    low = np.full((-(-groups // 16) * 16, lanes.shape[1]), 255, np.uint8)
    high = np.zeros_like(low)
    for g in range(groups):
        low[g] = lows[g * width : (g + 1) * width].min(axis=0)
        high[g] = highs[g * width : (g + 1) * width].max(axis=0)
    both = [registers(one).reshape(-1, lanes.shape[1] * 16) for one in (low, high)]
    return np.concatenate(both, axis=1).tobytes()


def registers(sketches):
    """Sixteen rows of words become, per word, sixteen lanes."""
    words = sketches.reshape(len(sketches) // 16, 16, -1, 4)
    return words.transpose(0, 2, 1, 3)


def segment(rows, found, frames, channels):
    table = pairs(frames, channels)
    count = len(table)
    numbers = np.frombuffer(found["quantiser"], "<f8")
    check(len(numbers) == 2 * channels + 4 * count, "length of the quantiser")
    parts = np.split(numbers, np.cumsum([channels, channels, count, count]))
    coarse_offset, coarse_step, pair_step, _, mean_offset = parts
    curves = np.frombuffer(found["curves"], "<f4").reshape(rows, frames, channels)
    ids = np.frombuffer(found["ids"], "<u8")
    check(len(ids) == rows, "number of ids")
    check((np.frombuffer(found["id order"], "<u4") == np.argsort(ids)).all(), "id order")

    order = np.frombuffer(found["order"], "<u4")
    check(len(order) == -(-rows // 16) * 16 and (order[rows:] == PAD).all(), "filling of the order")
    order = order[:rows].astype(int)
    places = np.frombuffer(found["places"], "<u4")
    check((np.sort(order) == np.arange(rows)).all(), "order")
    check((places[order] == np.arange(rows)).all(), "places")

    # Coarse copies and their runs.
    width = -(-channels // 4) * 4
    coarse = np.zeros((rows, frames, width), np.uint8)
    coarse[:, :, :channels] = codes(curves[order].astype(float), coarse_offset, coarse_step)
    check(coarse.tobytes() == found["coarse"], "coarse copies")
    if "runs" in found:
        runs = [coarse[:, r : r + 8] for r in range(0, frames, 8)]
        kept = np.stack([np.stack([run.min(axis=1), run.max(axis=1)], 1) for run in runs], 1)
        check(kept.tobytes() == found["runs"], "runs")

    # Sketches and the boxes around them.
    words = -(-count // 2)
    sketches = np.zeros((len(found["sketches"]) // (words * 4), words * 4), np.uint8)
    check(len(sketches) == -(-rows // 16) * 16, "number of sketches")
    for place, row in enumerate(order):
        for pair, (channel, *segments) in enumerate(table):
            for half, own in enumerate(segments):
                mean = 0.0
                for frame in own:
                    mean += float(curves[row, frame, channel])
                mean /= max(1, len(own))
                byte = 2 * pair + half
                sketches[place, byte] = codes(mean, mean_offset[byte], pair_step[pair])
    check(registers(sketches).tobytes() == found["sketches"], "sketches")
    real = sketches[:rows]
    check(boxes(real, real, real, 16) == found["group boxes"], "group boxes")
    check(boxes(real, real, real, 256) == found["block boxes"], "block boxes")

    # Clusters: no curve may be farther from its representative than is told.
    if "cluster starts" in found:
        bits = np.unpackbits(np.frombuffer(found["cluster starts"], np.uint8), bitorder="little")
        check(len(bits) == -(-rows // 64) * 64 and not bits[rows:].any() and bits[0], "cluster starts")
        starts = np.flatnonzero(bits)
        shape = (len(starts), frames, width)
        middles = np.frombuffer(found["representatives"], np.uint8).reshape(shape)[:, :, :channels]
        middles = coarse_offset + (middles + 0.5) * coarse_step
        steps = np.frombuffer(found["reach steps"], "<f8")
        told = np.frombuffer(found["reaches"], np.uint8).reshape(rows, channels)
        of = np.searchsorted(starts, np.arange(rows), side="right") - 1
        apart = np.sqrt(((curves[order].astype(float) - middles[of]) ** 2).sum(axis=1))
        check((apart <= told * steps * (1 + 1e-12)).all(), "reaches")
        check((told * steps <= apart * (1 + 1e-6) + 2 * steps + 1e-37).all(), "reaches, no larger than they need be")
        widest = np.maximum.reduceat(told, starts, axis=0)
        check(widest.tobytes() == found["widest reaches"], "widest reaches")

    deleted = np.frombuffer(found.get("deleted", b""), "<u8")
    gone = lambda row: len(deleted) and int(deleted[row // 64]) >> (row % 64) & 1
    return [(ids[row], curves[row]) for row in range(rows) if not gone(row)]


def main(path):
    with open(path, "rb") as file:
        data = file.read()
    frames, channels = header(data)
    _, *where = commit(data)
    for rows, found in manifest(data, *where):
        for number, curve in segment(rows, found, frames, channels):
            print(number, zlib.crc32(curve.astype("<f4").tobytes()))


if __name__ == "__main__":
    main(sys.argv[1])
