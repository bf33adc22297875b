"""A kernel forked from the warm server, and what its cells say."""

import asyncio
from pathlib import Path
from typing import Any

from trialkit.batch.provisioner import WarmManager

QUIET = "--HistoryManager.hist_file=:memory:"


class Session:
    """A started kernel and its client."""

    def __init__(self, manager: WarmManager, client: Any) -> None:
        self.manager, self.client = manager, client

    async def answer(self, code: str) -> str:
        """Run code and return what it wrote to stdout, or the name of the error."""
        parts: list[str] = []

        def hook(message: dict[str, Any]) -> None:
            content = message["content"]
            parts.append(content.get("text", "") + content.get("ename", ""))

        # In a thread, since the client waits for answers itself and tests do more than one thing.
        await asyncio.to_thread(self.client.execute_interactive, code, output_hook=hook, timeout=30)
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
