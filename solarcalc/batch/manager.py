"""How a kernel is started in a room: this Python, talking over files where it can, and quiet."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Any

from jupyter_client.asynchronous.client import AsyncKernelClient
from jupyter_client.channels import AsyncZMQSocketChannel
from jupyter_client.kernelspec import KernelSpec
from jupyter_client.manager import AsyncKernelManager
from jupyter_client.provisioning.local_provisioner import LocalProvisioner
from traitlets import Type

from solarcalc.batch.forks import ForkedProcess, ForkServer
from solarcalc.batch.kernels import KernelRoom
from solarcalc.batch.limits import Watch

_LONGEST_SOCKET_PATH = 90
"""A socket's path may have 103 to 107 characters (unix(7) and BSD); some room is left."""


_LIBRARY_PAUSE_S = 0.2
_PAUSE_S = 0.02
"""The client waits 0.2 s, idle, for messages left over from a kernel's start. A shorter look is
enough: what comes later belongs to no cell, and is dropped."""

_LOOK_AGAIN_S = 0.005
"""Pause between looks whether a kernel that was told to end has ended."""


class _Channel(AsyncZMQSocketChannel):
    """The channel of outputs, counted as they come."""

    watch: Watch | None = None

    async def get_msg(self, timeout: float | None = None) -> dict[str, Any]:  # type: ignore[override]
        """Next message, or an exception after `timeout` [s]."""
        found = await super().get_msg(timeout=_PAUSE_S if timeout == _LIBRARY_PAUSE_S else timeout)
        if self.watch is not None:
            self.watch.received(found)
        return found


class RoomKernelClient(AsyncKernelClient):
    """A client that does not dwell on the greeting."""

    iopub_channel_class = Type(_Channel)

    @property
    def iopub_channel(self) -> Any:
        """The channel of outputs, with the watch of this kernel."""
        channel: Any = super().iopub_channel
        channel.watch = getattr(self.parent, "watch", None)
        return channel


class RoomKernelManager(AsyncKernelManager):
    """Manager of one kernel; a subclass names its room and the watch beside it."""

    room: KernelRoom
    watch: Watch

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.connection_file = self.room.connection_file()
        if os.name == "posix" and len(self.connection_file) < _LONGEST_SOCKET_PATH:
            self.transport = "ipc"
        self.client_class = f"{__name__}.{RoomKernelClient.__name__}"
        self._kernel_spec = KernelSpec(
            argv=[sys.executable, "-m", "ipykernel_launcher", "-f", "{connection_file}"],
            display_name="Python 3", language="python",
        )
        self.provisioner = _Provisioner(
            kernel_id="", kernel_spec=self._kernel_spec, parent=self)

    async def _async_launch_kernel(self, kernel_cmd: list[str], **kwargs: Any) -> None:
        """Launch with the room's environment; messages of the process go to the room's log."""
        with self.room.log_path.open("ab") as log:
            await super()._async_launch_kernel(kernel_cmd, **{
                **kwargs, "env": dict(self.room.environment), "stdout": log, "stderr": log})
        if isinstance(self.provisioner, LocalProvisioner):
            self.room.add(self.provisioner.process)
            self.watch.begin(self.provisioner.process)

    async def _async_wait(self, pollinterval: float = _LOOK_AGAIN_S) -> None:
        """Wait until the process has ended, looking more often than the library does."""
        await super()._async_wait(pollinterval=_LOOK_AGAIN_S)


def manager_class_of(room: KernelRoom, watch: Watch) -> type:
    """Class of the manager that starts a kernel in a room, as the notebook client wants it."""
    return type("KernelManagerOfThisRoom", (RoomKernelManager,), {"room": room, "watch": watch})


class _Provisioner(LocalProvisioner):
    """Forks from the warm process where there is one, else starts a process as usual."""

    async def launch_kernel(self, cmd: list[str], **kwargs: Any) -> Any:
        """Launch a kernel; `cmd` is that of an ordinary one."""
        manager: Any = self.parent
        server: ForkServer | None = manager.room.server
        forked: ForkedProcess | None = None
        if server is not None:
            arguments = cmd[cmd.index("ipykernel_launcher") + 1:]
            forked = server.fork(arguments, Path(kwargs.get("cwd") or os.getcwd()))
        if forked is None:
            return await super().launch_kernel(cmd, **kwargs)
        self.process = forked  # type: ignore[assignment]  # it has all that is asked of it
        self.pid = self.pgid = forked.pid
        self.cwd = kwargs.get("cwd")
        return self.connection_info
