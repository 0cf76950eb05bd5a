-- A person at Neovim, in short: opens a spec with a fault, sees it, mends it, asks, formats, leaves.
-- Works with Neovim 0.7 (no vim.lsp.start, no inlay hints of its own) and later.

local function say(text)
  io.stderr:write(text .. '\n')
end

local function check(what, held, detail)
  if not held then
    error(what .. (detail and (': ' .. vim.inspect(detail)) or ''), 0)
  end
end

local function wait(what, f)
  check('gave up waiting until ' .. what, vim.wait(20000, f, 10))
end

local function file(path, lines)
  local full = vim.env.CUTWATER_WORK .. '/spec/' .. path
  vim.fn.mkdir(vim.fn.fnamemodify(full, ':h'), 'p')
  vim.fn.writefile(lines, full)
  return full
end

local exit_code
local client_id

local function attach(buf)
  if not client_id then
    client_id = vim.lsp.start_client({
      name = 'cutwater',
      cmd = { vim.env.CUTWATER, 'lsp' },
      root_dir = vim.env.CUTWATER_WORK .. '/spec',
      workspace_folders = {
        { uri = vim.uri_from_fname(vim.env.CUTWATER_WORK .. '/spec'), name = 'spec' },
      },
      on_exit = function(code)
        exit_code = code
      end,
    })
    check('the server starts', client_id)
  end
  check('the buffer is attached', vim.lsp.buf_attach_client(buf, client_id))
end

local function open(path)
  vim.cmd('edit ' .. vim.fn.fnameescape(path))
  local buf = vim.api.nvim_get_current_buf()
  attach(buf)
  return buf
end

local function set_line(buf, n, text)
  vim.api.nvim_buf_set_lines(buf, n - 1, n, true, { text })
end

local function count(buf)
  return #vim.diagnostic.get(buf)
end

local function ask(buf, method, params)
  local answers, err = vim.lsp.buf_request_sync(buf, method, params, 20000)
  check(method .. ' is answered', answers, err)
  local answer = answers[client_id]
  check(method .. ' is answered without an error', answer and not answer.error and not answer.err, answer)
  return answer.result
end

-- Line and column count from 0; all lines asked about hold ASCII before the column.
local function at(buf, line, character)
  return {
    textDocument = { uri = vim.uri_from_bufnr(buf) },
    position = { line = line, character = character },
  }
end

local function run()
  local parts = file('parts/rings.pump', { 'let bore = 5.502 in ± 0.0005' })
  local main = file('main.pump', {
    'use "parts/rings.pump" as rings',
    '',
    '/// Diametral clearance. 🚒 µ',
    'let gap = rings.bore - 5.497 inn',
    'site { altitude = 820 ft }',
  })

  -- A fault is shown in its place.
  local buf = open(main)
  wait('the fault is shown', function() return count(buf) == 1 end)
  local d = vim.diagnostic.get(buf)[1]
  check('it stands in line 4', d.lnum == 3, d)
  check('it is about the unit', d.message:find('inn', 1, true), d)
  check('it says who found it', d.source == 'cutwater', d)

  -- It goes when it is mended, and comes back when it is made again, with wide signs on the line.
  set_line(buf, 4, 'let gap = rings.bore - 5.497 in // 🚒 µ°')
  wait('the fault is gone', function() return count(buf) == 0 end)
  set_line(buf, 4, 'let gap = rings.bore - 5.497 inn // 🚒 µ°')
  wait('the fault is back', function() return count(buf) == 1 end)
  set_line(buf, 4, 'let gap = rings.bore - 5.497 in // 🚒 µ°')
  wait('the fault is gone again', function() return count(buf) == 0 end)

  -- Hover, hints, outline, definition, completion.
  local hover = ask(buf, 'textDocument/hover', at(buf, 3, 5))
  check('hover shows the limits', hover.contents.value:find('0.0045 .. 0.0055 in', 1, true), hover)
  local hints = ask(buf, 'textDocument/inlayHint', {
    textDocument = { uri = vim.uri_from_bufnr(buf) },
    range = { start = { line = 0, character = 0 }, ['end'] = { line = 9, character = 0 } },
  })
  check('two hints are shown', #hints == 2, hints)
  check('the gap is shown', hints[1].label:find('0.0050 in', 1, true), hints)
  check('the air is shown', hints[2].label:find('atmospheric pressure', 1, true), hints)
  local outline = ask(buf, 'textDocument/documentSymbol', { textDocument = { uri = vim.uri_from_bufnr(buf) } })
  check('the outline has three parts', #outline == 3, outline)
  local place = ask(buf, 'textDocument/definition', at(buf, 3, 17))
  place = place[1] or place
  check('the definition is in the other file',
    (place.uri or place.targetUri) == vim.uri_from_fname(parts), place)
  local words = ask(buf, 'textDocument/completion', at(buf, 3, 16))
  check('the other file\'s name is offered', #words == 1 and words[1].label == 'bore', words)

  -- What another buffer holds counts, saved or not.
  local other = open(parts)
  set_line(other, 1, 'let born = 5.502 in')
  wait('the importer shows the missing name', function() return count(buf) == 1 end)
  set_line(other, 1, 'let bore = 5.502 in ± 0.0005')
  wait('the importer is well', function() return count(buf) == 0 end)
  check('nothing is wrong with the other file', count(other) == 0, vim.diagnostic.get(other))

  -- Layout of a line alone.
  vim.api.nvim_set_current_buf(buf)
  local function lay_out_line(line)
    local edits = ask(buf, 'textDocument/rangeFormatting', {
      textDocument = { uri = vim.uri_from_bufnr(buf) },
      range = { start = { line = line, character = 0 }, ['end'] = { line = line + 1, character = 0 } },
      options = { tabSize = 4, insertSpaces = true },
    }) or {}
    vim.lsp.util.apply_text_edits(edits, buf, vim.lsp.get_client_by_id(client_id).offset_encoding)
    return #edits
  end
  set_line(buf, 5, 'site{ altitude=820 ft }')
  check('the line needs a few edits', lay_out_line(4) > 0)
  local part = vim.api.nvim_buf_get_lines(buf, 0, -1, true)
  check('the line is laid out', part[5] == 'site { altitude = 820 ft }', part)
  check('the line before is left', part[4] == 'let gap = rings.bore - 5.497 in // 🚒 µ°', part)
  check('a line laid out needs no edit', lay_out_line(4) == 0)

  -- Layout, by the editor's own command.
  if vim.lsp.buf.format then
    vim.lsp.buf.format({ timeout_ms = 20000 })
  else
    vim.lsp.buf.formatting_sync(nil, 20000)
  end
  local lines = vim.api.nvim_buf_get_lines(buf, 0, -1, true)
  check('the comment is set off', lines[4] == 'let gap = rings.bore - 5.497 in  // 🚒 µ°', lines)
  local again = ask(buf, 'textDocument/formatting', {
    textDocument = { uri = vim.uri_from_bufnr(buf) },
    options = { tabSize = 4, insertSpaces = true },
  })
  check('a second time changes nothing', #(again or {}) == 0, again)
  vim.fn.mkdir(vim.env.CUTWATER_WORK .. '/out', 'p')
  vim.cmd('silent write!')
  vim.fn.system({ vim.env.CUTWATER, 'format', '--check', main })
  check('the command line agrees with the layout', vim.v.shell_error == 0)

  -- The server ends in order.
  vim.lsp.stop_client(client_id)
  wait('the server has ended', function() return exit_code ~= nil end)
  check('with 0', exit_code == 0, exit_code)
end

local ok, err = pcall(run)
if ok then
  say('neovim: all is well')
  vim.cmd('qall!')
else
  say('neovim: ' .. tostring(err))
  vim.cmd('cquit 1')
end
