"""jupyter_client's own extension point: kernels that start warm, a manager that does not wait."""

import asyncio
import os
import shutil
import sys
import tempfile
import time
import uuid
from collections.abc import Mapping
from functools import lru_cache
from hmac import compare_digest
from inspect import unwrap
from pathlib import Path
from queue import Empty
from typing import Any

import zmq
import zmq.asyncio
from jupyter_client.blocking.client import BlockingKernelClient
from jupyter_client.channels import ZMQSocketChannel
from jupyter_client.client import KernelClient
from jupyter_client.manager import AsyncKernelManager
from jupyter_client.provisioning.local_provisioner import LocalProvisioner
from traitlets import DottedObjectName, Type

from trialkit.batch import warm_server
from trialkit.batch.forked_kernel import ForkedKernel, KernelHandle

LAUNCHER = ["-m", "ipykernel_launcher"]
POLL = 0.001  # seconds between looks at a kernel that is ending
SUBSCRIBED = 0.02  # seconds that an answer takes at most once subscribing is done
RECONNECT = 2  # milliseconds between looks for a kernel that is starting


class WarmProvisioner(LocalProvisioner):
    """Forks IPython kernels of this very interpreter from the warm server; others start plainly."""

    async def launch_kernel(self, cmd: list[str], **kwargs: Any) -> Any:
        """Launch a kernel; the plain way where it cannot be forked."""
        handle = _forked(cmd, kwargs)
        if handle is None:
            kwargs["env"] = {**kwargs.get("env", os.environ), **warm_server.ONE_THREAD, **self._own}
            return await super().launch_kernel(cmd, **kwargs)
        self.process = handle  # type: ignore[assignment]
        self.pid = handle.pid
        self.pgid = handle.pid  # the leader of its own session
        return self.connection_info

    @property
    def _own(self) -> dict[str, str]:
        """The folder of settings of a plainly started kernel: a fresh one, not a person's."""
        private = getattr(self.parent, "private", None)
        return {"IPYTHONDIR": private} if private else {}

    async def wait(self) -> int | None:
        """Wait for the kernel to end."""
        while await self.poll() is None:
            await asyncio.sleep(POLL)
        return await super().wait()

    async def send_signal(self, signum: int) -> None:
        """Send a signal to the kernel and all that it started; nothing once it has ended."""
        if await self.poll() is None:
            await super().send_signal(signum)


def _forked(cmd: list[str], options: dict[str, Any]) -> KernelHandle | None:
    """Fork the kernel that ``cmd`` would start, or return None where that is not possible."""
    same_python = os.path.realpath(cmd[0]) == os.path.realpath(sys.executable)
    if not (warm_server.available() and same_python and cmd[1:3] == LAUNCHER):
        return None
    environment = {**options.get("env", os.environ), **warm_server.ONE_THREAD}
    folder = os.path.abspath(options.get("cwd") or os.getcwd())
    try:
        return KernelHandle(ForkedKernel(tuple(cmd[3:]), environment, folder))
    except (OSError, EOFError, AttributeError):
        # No server (it was killed, or this Python keeps it elsewhere): the plain start serves.
        return None


class PlainChannel(ZMQSocketChannel):
    """A channel whose messages say when they were sent as text, which jupyter_client would read.

    Nobody asks for that time, and to read it is half the work of taking a message apart.
    """

    def _recv(self, **options: Any) -> dict[str, Any]:
        """Receive a message; raises ValueError for one that is not signed by the kernel."""
        assert self.socket is not None
        received: Any = self.session.feed_identities(self.socket.recv_multipart(**options))
        _, (signature, *parts) = received
        if not compare_digest(signature, self.session.sign(parts[:4])):
            raise ValueError("A message to the batch does not come from its kernel.")
        header, parent, metadata, content = map(self.session.unpack, parts[:4])
        return {
            "header": header,
            "msg_id": header["msg_id"],
            "msg_type": header["msg_type"],
            "parent_header": parent,
            "metadata": metadata,
            "content": content,
            "buffers": parts[4:],
        }


class PromptClient(BlockingKernelClient):
    """A client that is ready when the kernel says so, not after a fixed silence.

    It reads its channels itself, without an event loop between: whoever runs a notebook waits for
    one answer at a time. Nobody listens to heartbeats: the kernel is a child whose end is seen.
    """

    shell_channel_class = Type(PlainChannel)
    iopub_channel_class = Type(PlainChannel)
    parent: "WarmManager"
    language_info: Mapping[str, Any]

    def start_channels(self, *_: bool, **others: bool) -> None:
        """Start the channels but that of heartbeats."""
        super().start_channels(**{**others, "hb": False})

    def wait_for_ready(self, timeout: float | None = None) -> None:
        """Wait until the kernel answers on both channels; raises RuntimeError when it does not."""
        deadline = time.monotonic() + (timeout or float("inf"))
        while not self._answered(self.kernel_info()):
            if not self.parent.lives():
                raise RuntimeError("Kernel died before replying to kernel_info")
            if time.monotonic() > deadline:
                raise RuntimeError(f"Kernel didn't respond in {timeout:g} seconds")

    def _answered(self, asked: str) -> bool:
        try:
            reply = self.shell_channel.get_msg(timeout=1)
            if reply["msg_type"] != "kernel_info_reply":
                return False
            self._handle_kernel_info_reply(reply)
            self.language_info = reply["content"]["language_info"]
            # Subscribing takes a moment: only an answer to this very question shows it is done.
            while True:
                message = self.iopub_channel.get_msg(timeout=SUBSCRIBED)
                if is_end_of(message, asked):
                    return True
        except Empty:
            return False


def is_end_of(message: Mapping[str, Any], asked: str) -> bool:
    """Say whether this is the last message that the kernel publishes on what it was asked."""
    of_it = message["parent_header"].get("msg_id") == asked
    return of_it and message["content"].get("execution_state") == "idle"


@lru_cache(maxsize=1)
def _context(process: int) -> zmq.Context[Any]:
    """The sockets' context of a process: one for all its kernels, since it has threads of its own.

    Its sockets look for a kernel again after two thousandths of a second, not after a tenth.
    """
    context = zmq.Context()
    context.setsockopt(zmq.RECONNECT_IVL, RECONNECT)
    return context


_shut_down = unwrap(AsyncKernelManager._async_shutdown_kernel)


class WarmManager(AsyncKernelManager):
    """A manager of warm kernels: IPC in a private folder where it exists, no waiting at the end."""

    client_class = DottedObjectName(f"{__name__}.PromptClient")
    client_factory = Type(PromptClient, klass=KernelClient)

    def __init__(self, **options: Any) -> None:
        context = zmq.asyncio.Context(_context(os.getpid()))
        context.setsockopt(zmq.RECONNECT_IVL, RECONNECT)
        super().__init__(context=context, **options)
        self._created_context = False  # it is kept for the kernels to come
        self.private = tempfile.mkdtemp(prefix="tk-")
        if os.name == "posix":
            self.transport = "ipc"
            self.connection_file = str(Path(self.private) / "k.json")
            self.ip = str(Path(self.private) / "k")

    def client(self, **options: Any) -> Any:
        """Return a client of the kernel; its sockets are of this process's one context as well."""
        return super().client(context=_context(os.getpid()), **options)

    def lives(self) -> bool:
        """Say at once whether the kernel's process is there."""
        return self._process is not None and self._process.poll() is None

    @property
    def _process(self) -> Any:
        return getattr(self.provisioner, "process", None)

    async def _async_pre_start_kernel(self, **options: Any) -> Any:
        self.kernel_id = self.kernel_id or str(uuid.uuid4())
        if self.provisioner is None:
            self.provisioner = WarmProvisioner(
                kernel_id=self.kernel_id, kernel_spec=self.kernel_spec, parent=self
            )
        return await super()._async_pre_start_kernel(**options)

    pre_start_kernel = _async_pre_start_kernel

    async def _async_interrupt_kernel(self) -> None:
        # A kernel that is asked to end has no cell left to interrupt; a signal might only hit the
        # moment after the last one and be reported as an error.
        if not self.shutting_down:
            await super()._async_interrupt_kernel()

    interrupt_kernel = _async_interrupt_kernel

    async def _async_shutdown_kernel(self, now: bool = False, restart: bool = False) -> None:
        """End the kernel, without the pause in which jupyter_client's tests look at its state."""
        await _shut_down(self, now, restart)

    shutdown_kernel = _async_shutdown_kernel

    async def _async_finish_shutdown(
        self, waittime: float | None = None, pollinterval: float = POLL, restart: bool = False
    ) -> None:
        await super()._async_finish_shutdown(waittime, pollinterval, restart)

    finish_shutdown = _async_finish_shutdown

    async def _async_cleanup_resources(self, restart: bool = False) -> None:
        await super()._async_cleanup_resources(restart)
        if not restart:
            shutil.rmtree(self.private, ignore_errors=True)

    cleanup_resources = _async_cleanup_resources
