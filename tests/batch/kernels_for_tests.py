"""A kernel forked from the warm server, and what its cells say."""

import asyncio
from pathlib import Path
from typing import Any

from trialkit.batch.provisioner import WarmManager, is_end_of

QUIET = "--HistoryManager.hist_file=:memory:"


class Session:
    """A started kernel and its client."""

    def __init__(self, manager: WarmManager, client: Any) -> None:
        self.manager, self.client = manager, client

    async def answer(self, code: str) -> str:
        """Run code and return what it wrote to stdout, or the name of the error."""
        # In a thread, since the client waits for answers itself and tests do more than one thing.
        return await asyncio.to_thread(self._answer, code)

    def _answer(self, code: str) -> str:
        parts, asked = [], self.client.execute(code)
        while not is_end_of(message := self.client.iopub_channel.get_msg(timeout=30), asked):
            content = message["content"]
            if message["parent_header"].get("msg_id") == asked:
                parts.append(content.get("text", "") + content.get("ename", ""))
        self.client.shell_channel.get_msg(timeout=30)
        return "".join(parts).strip()


def in_kernel(folder: Path, steps: Any, **options: Any) -> Any:
    """Run an async function of a Session in a fresh kernel whose folder is ``folder``."""

    async def go() -> Any:
        manager = WarmManager(kernel_name="python3")
        await manager.start_kernel(cwd=str(folder), extra_arguments=[QUIET], **options)
        client = manager.client()
        client.start_channels()
        try:
            client.wait_for_ready(timeout=60)
            return await steps(Session(manager, client))
        finally:
            client.stop_channels()
            if await manager.is_alive():
                await manager.shutdown_kernel()
            await manager.cleanup_resources()

    return asyncio.run(go())
