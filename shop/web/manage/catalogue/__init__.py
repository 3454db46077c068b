"""What the shop works on and works with: vehicle models, damper models, stock items, tools."""
