"""The question loop on a screen: prints, prompts, keys. Decides nothing."""
