"""What is said of a JACK server that was started so that it may be late."""

from types import SimpleNamespace
from typing import Any

import pytest

from sequencer.adapters.midi_ports.jack_ports import JackIn


@pytest.mark.parametrize("realtime", [True, False])
def test_a_server_without_real_time_scheduling_is_told_of_once_with_the_mend(realtime: bool) -> None:
    client: Any = SimpleNamespace(
        samplerate=48_000,
        realtime=realtime,
        set_process_callback=lambda act: None,
        set_shutdown_callback=lambda act: None,
    )
    one = JackIn(client, None, "midi:quay")
    said = [words.rpartition("; ")[2] for words in one.notices()]
    assert said == ([] if realtime else ["start it with -R"])
    assert one.notices() == ()
