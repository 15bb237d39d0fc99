"""The page's copy of the pitch network's weights: ``python -m tests.page.make_pitch_weights``.

Reads model.onnx of swift-f0 (Nieradzik 2025, arXiv 2508.18440; MIT) with the package ``onnx``,
which nothing else needs (``pip install onnx``), and writes backing/page/web/pitch_weights.js: one
blob of 32-bit floats, little-endian, in base64. In it, for each of the three spectrograms: the
first bin and the number of bins of each of 128 bands, then their weights; then weights and biases
of each convolution, in the order of the network. tests/page/test_pitch_net.py holds what is made
of them to onnxruntime's own answers.
"""

from __future__ import annotations

import base64
from pathlib import Path

import numpy as np

TARGET = Path(__file__).parents[2] / "backing" / "page" / "web" / "pitch_weights.js"
FILTERS = (("v123", "v124", 513), ("v241", "v242", 1025), ("v342", "v343", 257))
BANDS = 128
LAYERS = (
    353, 357, 361, 366, 370, 375, 379, 384, 388, 393, 397, 402, 406, 413, 417, 425, 430, 434,
)  # fmt: skip


def main() -> None:
    import onnx
    import swift_f0
    from onnx import numpy_helper

    model = onnx.load(str(Path(swift_f0.__file__).parent / "model.onnx"))
    known = {each.name: numpy_helper.to_array(each) for each in model.graph.initializer}
    blob: list[np.ndarray] = []
    for places, values, bins in FILTERS:
        matrix = np.zeros(bins * BANDS, np.float32)
        matrix[known[places]] = known[values]
        columns = matrix.reshape(bins, BANDS).T
        ends = [(np.flatnonzero(row)[0], np.flatnonzero(row)[-1] + 1) for row in columns]
        blob.append(np.array([first for first, _ in ends], np.float32))
        blob.append(np.array([last - first for first, last in ends], np.float32))
        blob += [row[first:last] for row, (first, last) in zip(columns, ends, strict=True)]
    for number in LAYERS:
        blob += [known[f"v{number}"].ravel(), known[f"v{number + 1}"].ravel()]
    text = base64.b64encode(np.concatenate(blob).astype("<f4").tobytes()).decode()
    TARGET.write_text(
        "// Weights of the pitch network of swift-f0 (Copyright (c) 2025-2026 Lars Nieradzik, MIT\n"
        "// license), written by tests/page/make_pitch_weights.py, which says what is in them.\n\n"
        f'export const PITCH_WEIGHTS = "{text}";\n',
        "utf-8",
    )


if __name__ == "__main__":
    main()
