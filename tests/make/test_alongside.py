"""Work done by several processes: the same result, and nothing left running."""

import os
import signal
import time

import pytest

from unwrap.alongside import Alongside, timed
from unwrap.errors import BadInput


def test_helpers_and_this_process_share_the_work_and_answers_come_in_order():
    with Alongside(3) as crew:
        tasks = [crew.submit(pow, base, 3) for base in range(40)]
        tasks += [crew.submit(os.getpid) for _ in range(2)]
        crew._tasks.put(None)  # nobody need wait for more
        *cubes, one, other = crew.results(tasks)
    assert cubes == [base**3 for base in range(40)]
    assert {one, other} <= {os.getpid(), *(process.pid for process in crew._processes)}


def test_a_helper_does_work_while_this_process_waits():
    with Alongside(2) as crew:
        task = crew.submit(os.getpid)
        assert task.result() == crew._processes[0].pid  # never claimed here
    assert crew._processes[0].returncode is not None


def test_a_helper_that_got_ready_takes_the_first_work():
    with Alongside(2) as crew:
        crew.get_ready(sorted)
        (process,) = crew._processes
        task = crew.submit(os.getpid, worth=False)
        assert task.result() == process.pid
    with Alongside(1) as crew:
        crew.get_ready(sorted)
        assert crew._processes == []
        assert crew.results([crew.submit(sorted, [2, 1])]) == [[1, 2]]


def test_one_process_starts_no_helper_and_gives_the_same():
    with Alongside(1) as crew:
        tasks = [crew.submit(divmod, 17, 5), crew.submit(timed, sorted, [3, 1, 2])]
        first, (second, seconds) = crew.results(tasks)
    assert (first, second) == (divmod(17, 5), [1, 2, 3])
    assert seconds >= 0.0
    assert crew._processes == []


def fail(sentence: str) -> None:
    raise BadInput(sentence)


@pytest.mark.parametrize("processes", [1, 2])
def test_what_goes_wrong_in_a_helper_goes_wrong_here(processes):
    with Alongside(processes) as crew, pytest.raises(ZeroDivisionError):
        task = crew.submit(divmod, 1, 0)
        if processes == 2:
            task.result()
        crew.results([task])


def test_a_sentence_for_the_user_comes_through_whole():
    error = BadInput("region 'roof': one clear sentence.")
    with Alongside(1) as crew, pytest.raises(BadInput, match="one clear sentence"):
        crew.results([crew.submit(fail, str(error))])


def test_a_helper_that_is_ended_is_told_as_want_of_memory():
    with Alongside(2) as crew:
        task = crew.submit(time.sleep, 60.0)
        time.sleep(0.5)
        crew._processes[0].kill()
        with pytest.raises(MemoryError):
            task.result()


@pytest.mark.skipif(os.name == "nt", reason="sends a signal")
def test_an_interrupt_ends_the_helpers_at_once():
    begun = time.monotonic()
    with pytest.raises(KeyboardInterrupt), Alongside(2) as crew:
        task = crew.submit(time.sleep, 60.0)
        time.sleep(0.5)
        os.kill(os.getpid(), signal.SIGINT)
        task.result()
    assert crew._processes[0].returncode is not None
    assert time.monotonic() - begun < 30.0
